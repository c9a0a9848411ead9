"""The memory: one port for readings, several engines behind it, and the state beside them."""
