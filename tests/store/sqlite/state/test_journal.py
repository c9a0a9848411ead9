"""The kept journal."""

import datetime as dt

import pytest

from monitor.setup.journal import (
    AnimalIn,
    Entry,
    Fed,
    Inspection,
    Maintenance,
    Misted,
    MistingPlan,
    MistingTime,
    Moult,
    NotMisted,
    Remark,
    Source,
)
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal
from monitor.store.sqlite.state.journal import LONGEST_MISTING_MS, JournalRow

T = 1_792_351_800_000
PLACE = "cork-cube"


def rows(database: Database, **question: object) -> list[JournalRow]:
    """The journal of the cork cube."""
    with database.reading() as connection:
        return journal.page(connection, PLACE, **question)  # type: ignore[arg-type]


def add(database: Database, *entries: Entry, source: Source = Source.KEEPER) -> list[int]:
    """Keep entries of the cork cube, written down one second after T."""
    with database.transaction() as connection:
        return [journal.add(connection, PLACE, entry, source, T + 1000) for entry in entries]


@pytest.mark.parametrize(
    "entry",
    [
        Inspection(at=T, kind="inspection", mould_cover=0, springtails_seen=False, plants="rooted"),
        Inspection(at=T, kind="inspection", isopods_seen=True, note="under the bark"),
        Misted(at=T, kind="misted", seconds=12.5),
        Misted(at=T, kind="misted"),
        Fed(at=T, kind="fed", note="three crickets"),
        Moult(at=T, kind="moult"),
        Maintenance(at=T, kind="maintenance", note="new lamp"),
        AnimalIn(at=T, kind="animal_in"),
        NotMisted(at=T, kind="not_misted", note="the tank was empty"),
        MistingPlan(at=T, kind="misting_plan", times=(MistingTime(at=dt.time(8, 30), seconds=12),)),
        Remark(at=T, kind="note", note="smells of earth"),
    ],
    ids=lambda entry: entry.kind,
)
def test_an_entry_comes_back_as_it_was_written(database: Database, entry: Entry) -> None:
    """Every field of every kind survives, with who wrote it and when."""
    (entry_id,) = add(database, entry)

    assert rows(database) == [JournalRow(entry_id, PLACE, Source.KEEPER, T + 1000, entry)]


def test_a_machine_that_repeats_itself_adds_nothing(database: Database) -> None:
    """The same import twice gives one entry; the same words of a keeper are two."""
    misted = Misted(at=T, kind="misted", seconds=10)

    imported = add(database, misted, misted, source=Source.IMPORT)
    kept = add(database, misted, misted)

    assert imported[0] == imported[1]
    assert kept[0] != kept[1]
    assert len(rows(database)) == 3


@pytest.mark.parametrize(
    ("question", "minutes"),
    [
        ({}, [3, 2, 1, 0]),
        ({"kinds": ["fed"]}, [2, 0]),
        ({"kinds": ["fed", "moult"]}, [3, 2, 0]),
        ({"kinds": ["note"]}, []),
        ({"since_ms": T + 60_000, "until_ms": T + 180_000}, [2, 1]),
        ({"limit": 2}, [3, 2]),
        ({"before": (T + 120_000, 3)}, [1, 0]),
    ],
)
def test_a_page_holds_what_was_asked_for(
    database: Database, question: dict[str, object], minutes: list[int]
) -> None:
    """Kinds, from (inclusive), until (exclusive), limit and cursor all narrow the list."""
    add(
        database,
        Fed(at=T, kind="fed"),
        Misted(at=T + 60_000, kind="misted"),
        Fed(at=T + 120_000, kind="fed"),
        Moult(at=T + 180_000, kind="moult"),
    )
    with database.transaction() as connection:
        journal.add(connection, "moss-box", Fed(at=T, kind="fed"), Source.KEEPER, T)

    found = [(row.entry.at_ms - T) // 60_000 for row in rows(database, **question)]
    assert found == minutes


def reported(database: Database, *reports: tuple[bool, float]) -> list[tuple[float, float | None]]:
    """The mistings (seconds after T, length) after reports (on or off, seconds after T)."""
    for on, at_s in reports:
        with database.transaction() as connection:
            at_ms = T + round(1000 * at_s)
            journal.mister_switched(connection, PLACE, at_ms, on=on, now_ms=T)
    return [
        ((row.entry.at_ms - T) / 1000, row.entry.seconds)
        for row in reversed(rows(database))
        if isinstance(row.entry, Misted) and row.source is Source.MISTER
    ]


LONGEST_S = LONGEST_MISTING_MS / 1000


@pytest.mark.parametrize(
    ("reports", "mistings"),
    [
        pytest.param([(True, 0)], [(0, None)], id="runs"),
        pytest.param([(True, 0), (False, 12.5)], [(0, 12.5)], id="on-off"),
        pytest.param([(False, 5)], [], id="off-alone"),
        pytest.param([(True, 0), (True, 5), (False, 9)], [(0, 9)], id="on-repeated"),
        pytest.param([(True, 0), (False, 9), (False, 14)], [(0, 9)], id="off-repeated"),
        pytest.param(
            [(True, 0), (True, 5), (False, 9), (True, 0), (True, 5), (False, 9)],
            [(0, 9)],
            id="all-redelivered",
        ),
        pytest.param(
            [(True, 0), (False, 9), (True, 3600), (False, 3620), (True, 0), (False, 9)],
            [(0, 9), (3600, 20)],
            id="redelivered-late",
        ),
        pytest.param(
            [(True, 0), (True, LONGEST_S + 1), (False, LONGEST_S + 11)],
            [(0, None), (LONGEST_S + 1, 10)],
            id="off-lost",
        ),
        pytest.param([(True, 0), (False, LONGEST_S + 1)], [(0, None)], id="off-much-too-late"),
        pytest.param([(True, 0), (False, 0), (True, 0)], [(0, 0)], id="on-off-in-one-tick"),
    ],
)
def test_a_mister_writes_its_mistings(
    database: Database,
    reports: list[tuple[bool, float]],
    mistings: list[tuple[float, float | None]],
) -> None:
    """On begins an entry, off gives it its length; repeats and losses never invent water."""
    assert reported(database, *reports) == mistings


def test_a_mister_leaves_the_keepers_own_entries_alone(database: Database) -> None:
    """A misting by hand neither swallows a report nor gets its length."""
    add(database, Misted(at=T, kind="misted"))

    assert reported(database, (True, 1), (False, 4)) == [(1, 3)]
    assert [row.entry for row in rows(database) if row.source is Source.KEEPER] == [
        Misted(at=T, kind="misted")
    ]


def test_a_report_tells_whether_the_journal_changed(database: Database) -> None:
    """So that a live page is told of mistings and not of repeats."""
    changes = []
    for on, at_ms in [(True, T), (True, T + 1), (False, T + 9), (False, T + 10)]:
        with database.transaction() as connection:
            changes.append(
                journal.mister_switched(connection, PLACE, at_ms, on=on, now_ms=T),
            )

    assert changes == [True, False, True, False]
