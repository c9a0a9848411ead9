"""The log of a running daemon: plain lines on standard error."""

import logging


def log_to_stderr(level: int = logging.INFO) -> None:
    """Set logging up for this process."""
    logging.basicConfig(
        level=level,
        format="%(asctime)s %(levelname)-7s %(name)s: %(message)s",
        datefmt="%Y-%m-%dT%H:%M:%S%z",
    )
