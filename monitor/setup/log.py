"""What the daemon's log looks like."""

from typing import Literal

from monitor.documents.base import Model


class LogSettings(Model):
    """The log on standard error."""

    format: Literal["text", "json"] = "text"
    """Lines for people, or a JSON object a line for programs."""
    level: Literal["debug", "info", "warning", "error"] = "info"
    """The least grave lines that are written."""
