"""Notifications out: what is told, the loop that keeps trying, and the channels it goes by."""
