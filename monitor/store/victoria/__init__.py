"""Readings in VictoriaMetrics."""
