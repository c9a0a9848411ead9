"""What each species needs, and what all inhabitants of an enclosure can share."""
