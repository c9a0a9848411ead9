"""The HTTP face: JSON under ``/api/v1``, health and metrics at the root."""
