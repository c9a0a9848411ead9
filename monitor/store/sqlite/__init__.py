"""The embedded memory: one SQLite file."""
