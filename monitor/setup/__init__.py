"""What lives where: the keeper's settings and set-up, read, checked and compiled."""
