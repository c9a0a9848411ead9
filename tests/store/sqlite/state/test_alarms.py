"""Kept alarms and watched points."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.errors import NotFound, StoreError
from monitor.store.rows import AlarmRow, PointRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms


def row(number: int, *, place: str = "cork-cube", state: str = "acknowledged") -> AlarmRow:
    """An alarm raised at ``number`` seconds."""
    return AlarmRow(f"a{number}", place, state, 1000 * number, False, f'{{"n": {number}}}')


def test_an_alarm_comes_back_as_it_went_in(database: Database) -> None:
    """Nothing of a row is lost, and a later version replaces the earlier."""
    first = row(1, state="unacknowledged")
    last = first._replace(state="normal", closed=True, body="{}")

    with database.transaction() as connection:
        alarms.put(connection, [first, row(2)])
    with database.reading() as connection:
        assert alarms.get(connection, "a1") == first
    with database.transaction() as connection:
        alarms.put(connection, [last])
    with database.reading() as connection:
        assert alarms.get(connection, "a1") == last
        assert alarms.get(connection, "a2") == row(2)


def test_an_unknown_alarm_is_not_found(database: Database) -> None:
    """The error names the id that was asked for."""
    with database.reading() as connection, pytest.raises(NotFound, match="no alarm 'a9'"):
        alarms.get(connection, "a9")


def test_a_failed_transaction_keeps_nothing(database: Database) -> None:
    """Alarms commit with all that belongs to them, or not at all."""

    def half_a_batch() -> None:
        with database.transaction() as connection:
            alarms.put_points(connection, [PointRow("cork-cube.canopy.humidity.low", "{}")])
            alarms.put(connection, [row(1), row(2)._replace(body=None)])  # type: ignore[arg-type]

    with pytest.raises(StoreError, match="NOT NULL"):
        half_a_batch()

    with database.reading() as connection:
        assert alarms.page(connection) == []
        assert alarms.points(connection) == []


def test_only_open_alarms_are_still_open(database: Database) -> None:
    """At start the open ones are found without reading the past."""
    with database.transaction() as connection:
        alarms.put(connection, [row(n)._replace(closed=n % 3 != 0) for n in range(10)])
    with database.reading() as connection:
        assert [alarm.id for alarm in alarms.still_open(connection)] == ["a9", "a6", "a3", "a0"]


@pytest.mark.parametrize(
    ("question", "ids"),
    [
        ({}, ["a4", "a3", "a2", "a1", "a0"]),
        ({"place": "moss-box"}, ["a3", "a1"]),
        ({"states": ["normal"]}, ["a4", "a3"]),
        ({"states": ["normal", "shelved"]}, ["a4", "a3"]),
        ({"states": ["shelved"]}, []),
        ({"since_ms": 2000}, ["a4", "a3", "a2"]),
        ({"until_ms": 2000}, ["a1", "a0"]),
        ({"since_ms": 1000, "until_ms": 3000, "place": "cork-cube"}, ["a2"]),
        ({"limit": 2}, ["a4", "a3"]),
        ({"limit": 2, "before": (3000, "a3")}, ["a2", "a1"]),
    ],
)
def test_a_page_holds_what_was_asked_for(
    database: Database, question: dict[str, object], ids: list[str]
) -> None:
    """Place, states, from (inclusive), until (exclusive), limit and cursor all narrow the list."""
    with database.transaction() as connection:
        alarms.put(
            connection,
            [
                row(
                    n,
                    place="moss-box" if n % 2 else "cork-cube",
                    state="normal" if n > 2 else "acknowledged",
                )
                for n in range(5)
            ],
        )
    with database.reading() as connection:
        assert [alarm.id for alarm in alarms.page(connection, **question)] == ids  # type: ignore[arg-type]


# Each example is a file of its own: fewer of them, and no deadline for a busy disk.
@settings(max_examples=30, deadline=None)
@given(times=st.lists(st.integers(0, 5), max_size=20), limit=st.integers(1, 5))
def test_pages_join_up(
    tmp_path_factory: pytest.TempPathFactory, times: list[int], limit: int
) -> None:
    """Following the cursor gives every alarm once, newest first, also where times are equal."""
    database = Database(tmp_path_factory.mktemp("pages") / "dewkeep.db")
    rows = [row(n)._replace(raised_at_ms=at) for n, at in enumerate(times)]
    with database.transaction() as connection:
        alarms.put(connection, rows)

    seen: list[AlarmRow] = []
    with database.reading() as connection:
        while page := alarms.page(
            connection,
            limit=limit,
            before=(seen[-1].raised_at_ms, seen[-1].id) if seen else None,
        ):
            seen += page
    database.close()

    assert seen == sorted(rows, key=lambda alarm: (alarm.raised_at_ms, alarm.id), reverse=True)


def test_points_are_replaced_and_forgotten(database: Database) -> None:
    """What a point remembers survives until it is replaced or the point is dropped."""
    with database.transaction() as connection:
        alarms.put_points(connection, [PointRow("a", "1"), PointRow("b", "2"), PointRow("c", "3")])
        alarms.put_points(connection, [PointRow("b", "20")])
        alarms.forget_points(connection, ["c", "never-seen"])
    with database.reading() as connection:
        assert set(alarms.points(connection)) == {PointRow("a", "1"), PointRow("b", "20")}
