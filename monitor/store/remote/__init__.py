"""Readings in a time-series engine that is a server of its own; what such engines share."""
