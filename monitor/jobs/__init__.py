"""What runs by the clock: housekeeping, later reports."""
