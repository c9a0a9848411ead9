"""What the readings mean: pure functions over arrays and models."""
