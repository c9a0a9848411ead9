"""Readings in: from MQTT messages to committed readings."""
