"""``dewkeep import`` and ``dewkeep export``."""

import csv
from contextlib import closing
from pathlib import Path

import pyarrow.parquet
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from monitor.errors import StoreUnavailable
from monitor.ingest import csv_log
from monitor.ingest.csv_log import EXPORTED
from monitor.quantities import Quantity
from monitor.store.readings import Readings, SeriesKey, Track
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import parse_rfc3339, rfc3339
from tests.cli.conftest import CommandLine
from tests.support.daemon import CORK_CUBE

T, RH = Quantity.TEMPERATURE, Quantity.HUMIDITY
START_MS = parse_rfc3339("2026-06-01T00:00:00Z")
END_MS = parse_rfc3339("2026-07-01T00:00:00Z")
CANOPY = ("--probe", "cork-cube/canopy")
JUNE = ("--from", "2026-06-01", "--to", "2026-07-01")


def log(cli: CommandLine, separator: str = ",", rows: int = 100) -> Path:
    """An old log: a reading every five minutes, with a slow rise."""
    lines = [
        (str(START_MS // 1000 + 300 * n), f"{20 + n / 50:.2f}", f"{70 - n / 10:.1f}")
        for n in range(rows)
    ]
    text = "\n".join(separator.join(line) for line in [("time", "temperature", "humidity"), *lines])
    return cli.write("old.csv", text)


def kept(cli: CommandLine, quantity: Quantity = T, probe: str = "canopy") -> Track:
    """What is stored of June."""
    with closing(cli.database()) as database:
        key = SeriesKey("cork-cube", probe, quantity)
        return SqliteReadings(database).track(key, START_MS, END_MS)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_an_old_log_becomes_history(cli: CommandLine, separator: str) -> None:
    """Every reading at its time; what was read from which column is told."""
    said = cli.ok("import", log(cli, separator), *CANOPY)
    track = kept(cli)

    assert "200 new readings from 100 rows of old.csv\n" in said
    assert "time from 'time', temperature from 'temperature', humidity from 'humidity'" in said
    assert track.at_ms.tolist() == [START_MS + 300_000 * n for n in range(100)]
    assert track.value.tolist() == [round(20 + n / 50, 2) for n in range(100)]
    assert not track.reason.any()


def test_read_twice_it_changes_nothing(cli: CommandLine) -> None:
    """And says that it was all there."""
    path = log(cli)
    cli.ok("import", path, *CANOPY)
    before = kept(cli)
    said = cli.ok("import", path, *CANOPY)

    assert "0 new readings from 100 rows of old.csv, 200 were there already" in said
    assert kept(cli).value.tolist() == before.value.tolist()


def test_rows_that_cannot_be_used_are_told(cli: CommandLine) -> None:
    """Counted, the first few with their lines; the others go in."""
    path = cli.write(
        "old.csv",
        "time,temperature\n2026-06-01T00:00:00Z,20.5\nsoon,20.5\n2026-06-01T00:05:00Z,wet\n",
    )
    said = cli.ok("import", path, *CANOPY)

    assert "1 new readings from 3 rows" in said
    assert "left out: 1 x no time\n" in said
    assert "  line 3: time 'soon' is no time\n" in said
    assert "  line 4: temperature 'wet' is no number; 23.4 would be right\n" in said
    assert kept(cli).value.tolist() == [20.5]


def test_times_without_offset_are_the_enclosures_own(cli: CommandLine) -> None:
    """Lisbon in June is an hour ahead of UTC."""
    path = cli.write("old.csv", "Date,Temperature C\n2026-06-10 13:00,20.5\n")
    cli.ok("import", path, *CANOPY)

    assert kept(cli).at_ms.tolist() == [parse_rfc3339("2026-06-10T12:00:00Z")]


def test_values_are_judged_and_corrected(cli: CommandLine) -> None:
    """As if they came over the air: calibration, and what no sensor can have measured."""
    cli.write("enclosures.toml", CORK_CUBE.replace("period_s = 30", CALIBRATED))
    cli.ok("setup", "apply", cli.folder / "enclosures.toml")
    path = cli.write("old.csv", "time,temperature\n2026-06-02,20.5\n2026-06-03,900\n")
    cli.ok("import", path, *CANOPY)

    assert kept(cli).value.tolist() == [21.0, 900.0]
    assert kept(cli).reason.tolist() == [0, 16]


CALIBRATED = "period_s = 30\ncalibration = { temperature = { offset = 0.5 } }"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("old.csv", "--probe", "cork-cube/attic"), "no such probe; there are: cork-cube/canopy"),
        (("old.csv", "--probe", "cork-cube"), "no such probe; there are: cork-cube/canopy"),
        (("old.csv", "--probe", "attic/canopy"), "no room or enclosure 'attic' is set up"),
        (("gone.csv", *CANOPY), "gone.csv: cannot be read: No such file or directory"),
        (("old.csv", *CANOPY, "--time", "when"), "no column 'when'; there are time, temperature"),
        (("old.csv",), "Missing option '--probe'"),
    ],
)
def test_an_import_that_cannot_be(cli: CommandLine, words: tuple[str, ...], says: str) -> None:
    """Says what is wrong and what there is; nothing is kept."""
    log(cli)
    file, *rest = words

    assert says in cli.wrong("import", cli.folder / file, *rest)
    assert len(kept(cli)) == 0


def test_an_export_has_a_row_for_each_reading(cli: CommandLine) -> None:
    """Derived quantities too; the dew point is CoolProp's (0.01 K)."""
    cli.ok("import", log(cli, rows=1), *CANOPY)
    out = cli.folder / "june.csv"
    said = cli.ok("export", "cork-cube", *JUNE, "--out", out)
    rows = list(csv.DictReader(out.read_text().splitlines()))
    by_coolprop = HAPropsSI("Tdp", "T", 293.15, "R", 0.70, "P", 101_325) - 273.15

    assert f"7 readings written to {out}" in said
    assert tuple(rows[0]) == EXPORTED
    assert rows[0] == {
        "time": "2026-06-01T00:00:00Z",
        "probe": "canopy",
        "quantity": "temperature",
        "value": "20.0",
        "unit": "Cel",
        "quality": "good",
        "reason": "",
    }
    dew_point = next(row for row in rows if row["quantity"] == "dew_point")
    assert float(dew_point["value"]) == pytest.approx(by_coolprop, abs=0.01)


def test_what_was_exported_can_be_imported(cli: CommandLine) -> None:
    """Into another database it makes the same readings; corrections are not made twice."""
    cli.write("enclosures.toml", CORK_CUBE.replace("period_s = 30", CALIBRATED))
    cli.ok("setup", "apply", cli.folder / "enclosures.toml")
    cli.ok("import", log(cli), *CANOPY)
    out = cli.folder / "june.csv"
    cli.ok("export", "cork-cube", *JUNE, "--out", out)
    before = kept(cli), kept(cli, RH)
    cli.config.write_text('[store]\npath = "other.db"\n')
    cli.ok("setup", "apply", cli.folder / "enclosures.toml")
    said = cli.ok("import", out, *CANOPY)
    (cli.folder / "other.db").replace(cli.folder / "dewkeep.db")

    assert "200 new readings from 700 rows" in said
    for old, new in zip(before, (kept(cli), kept(cli, RH)), strict=True):
        assert new.at_ms.tolist() == old.at_ms.tolist()
        assert new.value.tolist() == old.value.tolist()
    assert before[0].value[0] == 20.5


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("attic", *JUNE, "--out", "june.csv"), "no room or enclosure 'attic' is set up"),
        (("cork-cube", "--from", "June", "--out", "june.csv"), "'June' is no time"),
        (
            ("cork-cube", "--from", "2026-07-01", "--to", "2026-06-01", "--out", "june.csv"),
            "--from: must lie before 2026-06-01T00:00:00Z",
        ),
        (("cork-cube", *JUNE, "--out", "gone/june.csv"), "june.csv: cannot be written: No such"),
        (
            ("cork-cube", *JUNE, "--out", "june.csv", "--format", "xls"),
            "'xls' is not one of",
        ),
        (("cork-cube", *JUNE), "Missing option '--out'"),
    ],
)
def test_an_export_that_cannot_be(
    cli: CommandLine, words: tuple[str, ...], says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Says what is wrong and what would be right."""
    monkeypatch.chdir(cli.folder)

    assert says in cli.wrong("export", *words)


def test_an_interrupted_import_goes_on_where_it_stopped(
    cli: CommandLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was in is not stored again, and in the end all is as if nothing had happened."""
    monkeypatch.setattr(csv_log, "CHUNK_ROWS", 30)
    path = log(cli)
    backfill = SqliteReadings.backfill
    batches: list[int] = []

    def break_off(store: SqliteReadings, readings: Readings) -> None:
        if len(batches) == 2:
            raise StoreUnavailable("the disk is full")
        batches.append(len(readings))
        backfill(store, readings)

    monkeypatch.setattr(SqliteReadings, "backfill", break_off)
    assert cli.run("import", path, *CANOPY, "--config", cli.config).exit_code == 2
    batches.append(0)
    said = cli.ok("import", path, *CANOPY)

    assert batches == [60, 60, 0, 60, 20]
    assert "going on after row 60, where it stopped before" in said
    assert "80 new readings from 100 rows" in said
    assert len(kept(cli)) == 100
    assert "going on" not in cli.ok("import", path, *CANOPY)


def test_all_that_was_left_out_is_listed(cli: CommandLine) -> None:
    """Line by line in a file, with the reason."""
    path = cli.write("old.csv", "time;temperature\n" + "soon;20\n" * 8 + "1780272000;20,5\n")
    report = cli.folder / "left-out.csv"
    said = cli.ok("import", path, *CANOPY, "--report", report)

    with report.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["line"] for row in rows] == [str(n) for n in range(2, 10)]
    assert {row["reason"] for row in rows} == {"no time"}
    assert "1 numbers with a decimal comma" in said
    assert kept(cli).value.tolist() == [20.5]


def test_times_of_other_loggers(cli: CommandLine) -> None:
    """A format and a zone make sense of them; a zone that does not exist is told."""
    path = cli.write("old.csv", "time;temperature\n02.06.2026 14:30;20,5\n")
    form = ("--time-format", "%d.%m.%Y %H:%M")
    cli.ok("import", path, *CANOPY, *form, "--timezone", "Asia/Tokyo")

    assert kept(cli).at_ms.tolist() == [parse_rfc3339("2026-06-02T05:30:00Z")]
    assert "no IANA time zone" in cli.wrong("import", path, *CANOPY, "--timezone", "Lisbon")


def test_parquet_holds_the_same_as_csv(cli: CommandLine) -> None:
    """Every row and column alike, with times and numbers as such; read back by pyarrow."""
    text = log(cli).read_text() + f"\n{START_MS // 1000 + 40_000},999,50"
    cli.ok("import", cli.write("old.csv", text), *CANOPY)
    written = cli.folder / "june.csv"
    cli.ok("export", "cork-cube", *JUNE, "--out", written)
    packed = cli.folder / "june.parquet"
    said = cli.ok("export", "cork-cube", *JUNE, "--format", "parquet", "--out", packed)

    with written.open(newline="") as file:
        rows = list(csv.DictReader(file))
    found = pyarrow.parquet.read_table(packed).to_pylist()
    assert f"{len(rows)} readings written" in said
    assert [
        {**row, "time": rfc3339(round(row["time"].timestamp() * 1000)), "value": str(row["value"])}
        for row in found
    ] == rows
    assert {row["quality"] for row in rows} == {"good", "bad"}
    assert packed.stat().st_size < written.stat().st_size
