"""Puts together a query whose conditions are not known beforehand."""

import sqlite3
from typing import Any


class Query:
    """A SELECT that grows: conditions with their values, joined by AND.

    Only fixed text of this package goes into conditions; whatever came from outside is a value.
    """

    def __init__(self, select: str) -> None:
        self._select = select
        self._conditions: list[str] = []
        self._values: list[object] = []

    def where(self, condition: str, *values: object) -> None:
        """Only rows for which ``condition`` holds; one value for each ``?``."""
        self._conditions.append(condition)
        self._values += values

    def run(self, connection: sqlite3.Connection, ending: str, *values: object) -> list[Any]:
        """All rows; ``ending`` is what follows the conditions (ORDER BY, LIMIT)."""
        conditions = f" WHERE {' AND '.join(self._conditions)}" if self._conditions else ""
        sql = f"{self._select}{conditions} {ending}"
        return connection.execute(sql, (*self._values, *values)).fetchall()
