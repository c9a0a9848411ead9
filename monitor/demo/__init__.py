"""The demo: dewkeep as it is, over a simulated room."""
