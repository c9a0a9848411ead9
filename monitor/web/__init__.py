"""The pages: what a keeper sees. Pure view models say what to show, templates how it looks."""
