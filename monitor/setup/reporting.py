"""When and where the morning report leaves."""

import datetime as dt

from monitor.documents.base import Identifier, Model, TimeOfDay
from monitor.setup.timezones import TimeZone


class ReportSettings(Model):
    """The report on last night, once a day."""

    at: TimeOfDay = dt.time(7, 30)
    """When it leaves, by the clock of its time zone."""
    timezone: TimeZone = "UTC"
    """The time zone of the clock, as in the IANA list."""
    channels: tuple[Identifier, ...] = ()
    """Names of the channels it leaves on; without any there is no report."""
