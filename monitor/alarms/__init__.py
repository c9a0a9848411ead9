"""When a keeper must be told: pure alarm logic over arrays of readings."""
