"""The schema, as named steps that run once and in order.

A step is never changed after a release; a new need is a new step at the end. The number of steps
applied is kept in ``PRAGMA user_version``, in the same transaction as the step itself.
"""

from typing import NamedTuple

from monitor.store.sqlite import schema
from monitor.store.sqlite.state import schema as state


class Migration(NamedTuple):
    """One step of the schema: its name and the statements that carry it out."""

    name: str
    statements: tuple[str, ...]


MIGRATIONS: tuple[Migration, ...] = (
    Migration("readings", schema.READINGS),
    Migration("state", state.TABLES),
    Migration("explanations", state.EXPLANATIONS),
    Migration("delivery", state.DELIVERY),
    Migration("suppressions", state.SUPPRESSIONS),
    Migration("calibration", state.CALIBRATION),
    Migration("photos", state.PHOTOS),
    Migration("trust", state.TRUST),
    Migration("verdicts", state.VERDICTS),
    Migration("spool", schema.SPOOL),
    Migration("called off", state.CALLED_OFF),
)
