"""A house that several daemons watch: what each of them tells, and all of it as one whole."""
