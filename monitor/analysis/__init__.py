"""Assessments over stored readings: pure functions of arrays, no I/O."""
