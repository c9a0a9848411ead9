"""Readings in InfluxDB."""
