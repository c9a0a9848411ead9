"""dewkeep: watches the climate of living enclosures and says when, and why, it goes wrong."""

__version__ = "0.1.0"
