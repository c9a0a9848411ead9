"""Composition: the parts are built, handed to each other, started and stopped in order."""
