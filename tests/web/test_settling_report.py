"""The settling report: what is drawn is what was found, and the page keeps the rules of pages."""

import datetime as dt
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from monitor.analysis.settling import Name, Samples, assess
from monitor.analysis.settling.portrait import Portrait, portrait
from monitor.cli import main
from monitor.jobs.settling import Assessed
from monitor.setup.models import Enclosure
from monitor.setup.settling import limits_of
from monitor.species.library import load_library
from monitor.store.rows import VerdictRow
from monitor.web.plots import DIGITS, Axis, course_plot, cycle_plot, mould_plot, share_plot
from monitor.web.settling_report import page, report
from tests.support.builds import random_build
from tests.web.conftest import MakeShow, enclosure

LIBRARY = load_library()
_DUE = "A look is due."


def assessed(day: int, **settling: float) -> Assessed:
    """A simulated build of three probes as it stood on a day."""
    build = random_build(np.random.default_rng(11), 50, room_probe=True).at(day)
    zones = [probe for probe in build.probes if probe.zone.value != "room"]
    place = Enclosure.model_validate(
        {
            "id": "drawer",
            "name": "Fern <drawer>",
            "built_on": build.built_on,
            "settling": settling,
            "inhabitant": [{"species": "dendrobates-auratus"}],
            "probe": [{"id": probe.id, "zone": probe.zone} for probe in zones],
        }
    )
    limits = limits_of(place, LIBRARY, {})
    history = [VerdictRow("drawer", build.at_ms - 86_400_000, 0, "settling", build.built_on, _DUE)]
    return Assessed(place, build, limits, assess(build, limits.values), history)


@pytest.fixture(scope="module")
def found() -> Assessed:
    """The build on its 45th day."""
    return assessed(45, age_days=42)


@pytest.fixture(scope="module")
def shown(found: Assessed) -> Portrait:
    """Its portrait."""
    return portrait(found.build, found.limits.values)


def points(text: str) -> Iterator[tuple[float, float]]:
    """The points of a polyline."""
    for pair in text.split():
        x, y = map(float, pair.split(","))
        yield x, y


def scales(plot_labels: list[tuple[float, float]]) -> tuple[float, float]:
    """Slope and offset of a scale from two or more labelled places, by least squares."""
    at, value = np.array(plot_labels).T
    slope, offset = np.polyfit(at, value, 1)
    return float(slope), float(offset)


def height_scale(plot: object) -> tuple[float, float]:
    """What a height means, read from the numbers beside a plot, as an eye does."""
    labels = [
        (each.y, float(number[0]))
        for each in plot.labels  # type: ignore[attr-defined]
        if each.kind == "beside" and (number := re.match(r"-?[\d.]+", each.says))
    ]
    return scales(labels)


def test_daily_means_are_drawn_where_the_numbers_beside_say(shown: Portrait) -> None:
    """Read off against the labels, each dot gives its day's mean; its words say the same."""
    for course in shown.courses:
        plot = course_plot(course, shown.dates, "t", "s")
        slope, offset = height_scale(plot)
        known = course.value[~np.isnan(course.value)]
        span = float(known.max() - known.min())

        read = [slope * dot.y + offset for dot in plot.dots]
        said = [float(dot.says.partition(": ")[2].split()[0]) for dot in plot.dots]

        assert read == pytest.approx(known.tolist(), abs=0.01 * span)
        assert said == pytest.approx(known.tolist(), abs=0.51 * 10.0 ** -DIGITS[course.quantity])
        drawn = [xy for line in plot.lines if line.kind == "daily" for xy in points(line.points)]
        assert np.array(drawn) == pytest.approx(
            np.array([(dot.x, dot.y) for dot in plot.dots]), abs=0.01
        )


def test_the_fan_has_the_slopes_of_the_limit(shown: Portrait) -> None:
    """Its edges rise and fall by the limit a day, and the trend by its slope."""
    for course in shown.courses:
        plot = course_plot(course, shown.dates, "t", "s")
        per_unit, _ = height_scale(plot)
        day = plot.dots[1].x - plot.dots[0].x
        (fan,) = plot.areas
        a, b, c, d = points(fan.points)
        (trend,) = (list(points(line.points)) for line in plot.lines if line.kind == "trend")

        def slope(one: tuple[float, float], other: tuple[float, float]) -> float:
            return per_unit * (other[1] - one[1]) / ((other[0] - one[0]) / day)  # noqa: B023

        assert slope(a, b) == pytest.approx(course.limit, rel=0.01)
        assert slope(d, c) == pytest.approx(-course.limit, rel=0.01)
        assert slope(*trend) == pytest.approx(course.slope, abs=0.01 * course.limit)


def test_cycles_are_drawn_hour_by_hour(shown: Portrait) -> None:
    """One line a day; read off against the labels they give the hourly means, the last darkest."""
    for cycle in shown.cycles:
        plot = cycle_plot(cycle, "t", "s")
        slope, offset = height_scale(plot)
        span = float(cycle.hourly.max() - cycle.hourly.min())

        read = [[slope * y + offset for _, y in points(line.points)] for line in plot.lines]

        assert np.array(read) == pytest.approx(cycle.hourly, abs=0.01 * span)
        assert [line.kind for line in plot.lines] == [f"day shade-{n}" for n in range(7)]


def test_looks_are_drawn_on_their_days(shown: Portrait) -> None:
    """Each cover at its height, each finding in its row, each with its date."""
    plot = mould_plot(shown, "t", "s")
    slope, offset = height_scale(plot)
    covers = [dot for dot in plot.dots if "cover" in dot.says]

    assert [round(slope * dot.y + offset, 1) for dot in covers] == [
        look.cover for look in shown.covers
    ]
    assert [dot.says for dot in covers] == [
        f"{look.date.day} {look.date:%b}: cover {look.cover} of 5" for look in shown.covers
    ]
    assert all((dot.kind == "clean") is dot.says.endswith("cover 0 of 5") for dot in covers)
    days = [(look.date - shown.built_on).days for look in shown.covers]
    across, _ = scales([(dot.x, day) for dot, day in zip(covers, days, strict=True)])
    assert (covers[-1].x - covers[0].x) * across == pytest.approx(days[-1] - days[0], abs=0.01)
    seen = [dot for dot in plot.dots if "springtails" in dot.says]
    assert [dot.kind == "seen" for dot in seen] == [
        look.springtails_seen for _, look in shown.looks if look.springtails_seen is not None
    ]


def test_bars_are_as_high_as_the_time_in_range(shown: Portrait) -> None:
    """By day and by night, of the last four weeks."""
    (zone, quantity) = shown.shares[0].zone, shown.shares[0].quantity
    here = {each.name: each for each in shown.shares if each[1:3] == (zone, quantity)}
    day, night = here[Name.TIME_IN_RANGE_DAY], here[Name.TIME_IN_RANGE_NIGHT]
    plot = share_plot(day, night, shown.dates, 90.0, "t", "s")
    slope, _ = height_scale(plot)

    for kind, share in (("light", day), ("night", night)):
        bars = [box for box in plot.boxes if box.kind == kind]
        assert [-slope * box.height for box in bars] == pytest.approx(
            share.percent[-28:].tolist(), abs=0.2
        )
    (least,) = plot.lines
    (_, y), _ = points(least.points)
    bottom = max(box.y + box.height for box in plot.boxes)
    assert -slope * (bottom - y) == pytest.approx(90.0, abs=0.2)


def test_a_gap_in_the_days_is_a_gap_in_the_line(shown: Portrait) -> None:
    """Nobody knows what was there."""
    value = shown.courses[0].value.copy()
    value[5:8] = np.nan
    course = replace(shown.courses[0], value=value)
    plot = course_plot(course, shown.dates, "t", "s")

    daily = [list(points(line.points)) for line in plot.lines if line.kind == "daily"]
    assert [len(line) for line in daily] == [5, len(value) - 8]
    assert len(plot.dots) == len(value) - 3


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0.0, 10.0, [0, 2, 4, 6, 8, 10]),
        (71.3, 74.9, [72, 73, 74]),
        (2.601, 2.647, [2.61, 2.62, 2.63, 2.64]),
    ],
)
def test_ticks_are_round(low: float, high: float, expected: list[float]) -> None:
    """1, 2 or 5 times a power of ten, and within."""
    axis = Axis(low, high, 0.0, 1.0)

    assert axis.ticks() == expected
    shares = [(tick - low) / (high - low) for tick in expected]
    assert [axis(tick) for tick in expected] == pytest.approx(shares, abs=0.005)


class Strict(HTMLParser):
    """Collects what a content security policy of ``style-src 'self'`` would refuse."""

    def __init__(self) -> None:
        super().__init__()
        self.refused: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note inline styles, scripts and handlers."""
        names = [name for name, _ in attrs]
        if tag in ("style", "script") or "style" in names:
            self.refused.append(tag)
        self.refused += [name for name in names if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        """Collect the words."""
        self.texts.append(data)


def test_the_page_says_all_that_was_found(found: Assessed) -> None:
    """Every criterion, every limit with its origin; names are escaped; no style or script in it."""
    html = page(found, LIBRARY)
    parser = Strict()
    parser.feed(html)
    text = " ".join(" ".join(parser.texts).replace("\N{NO-BREAK SPACE}", " ").split())

    assert parser.refused == []
    assert "<drawer>" not in html
    assert "Fern <drawer>" in text
    assert "Green-and-black dart frog" in text
    for criterion in found.settling.criteria:
        assert criterion.says in text
        assert criterion.required in text
    for name, value in found.limits.values.model_dump().items():
        assert f"{name} {value:g} {found.limits.origin[name]} " in text
    assert "see a vet" in text
    assert "not a safety device" in text
    assert ": settling. A look is due." in text


def test_every_plot_is_sound_svg(found: Assessed) -> None:
    """It parses, has a name for those who do not see it, and nothing lies outside of it."""
    html = page(found, LIBRARY)
    drawings = re.findall(r"<svg.*?</svg>", html, re.DOTALL)

    assert len(drawings) == sum(len(part.plots) for part in report(found, LIBRARY).parts)
    for drawing in drawings:
        root = ElementTree.fromstring(drawing)  # noqa: S314 - our own
        _, _, width, height = map(float, root.attrib["viewBox"].split())
        assert root.attrib["role"] == "img"
        assert len(root.attrib["aria-label"]) > 20
        for line in root.iter("polyline"):
            for x, y in points(line.attrib["points"]):
                assert 0 <= x <= width
                assert 0 <= y <= height


@pytest.mark.parametrize(
    ("from_day", "until_day", "at_day"),
    [(0.0, 0.3, 1), (0.0, 5.0, 40), (39.6, 39.8, 40), (0.0, 40.0, 0), (7.0, 7.0, 20)],
    ids=["hours", "long silent", "just begun", "first day", "nothing"],
)
def test_hardly_any_readings_make_a_page_all_the_same(
    found: Assessed, from_day: float, until_day: float, at_day: int
) -> None:
    """What cannot be drawn is left out; what is missing is said."""
    start_ms = found.build.at_ms - round(45.875 * 86_400_000)  # the evening of day 45
    edges = [start_ms + round(day * 86_400_000) for day in (from_day, until_day)]

    def cut(samples: Samples) -> Samples:
        kept = (samples.at_ms >= edges[0]) & (samples.at_ms < edges[1])
        return Samples(samples.at_ms[kept], samples.value[kept])

    build = replace(
        found.build,
        at_ms=start_ms + at_day * 86_400_000 + 3_600_000,
        probes=[
            replace(each, temperature=cut(each.temperature), humidity=cut(each.humidity))
            for each in found.build.probes
        ],
    )
    settling = assess(build, found.limits.values)

    html = page(replace(found, build=build, settling=settling), LIBRARY)

    assert "Has the mould come and gone?" in html
    assert not re.search(r"\bnan\b", html)


def test_what_is_open_stands_first(found: Assessed) -> None:
    """A keeper reads what is missing before what is met."""
    rows = report(assessed(20), LIBRARY).rows
    results = [row.result != "pass" for row in rows]

    assert any(results)
    assert results == sorted(results, reverse=True)
    assert len(rows) > len(report(found, LIBRARY).rows) - 3


def test_the_report_is_served_with_the_headers_of_pages(make_show: MakeShow) -> None:
    """At its address, as of a time if asked; an unknown enclosure is a page that says so."""
    show = make_show({"enclosure": [enclosure(built_on=dt.date(2026, 11, 1))]})
    address = "/enclosures/cork-cube/settling/report"

    now, then = show.get(address), show.get(f"{address}?at=2026-11-10T12:00:00Z")
    missing = show.get("/enclosures/nowhere/settling/report")

    assert now.status_code == then.status_code == 200
    assert "As of 25 November 2026" in now.text
    assert "As of 10 November 2026" in then.text
    assert "Built on 1 November 2026, 24 days ago" in now.text
    assert "script-src 'self'" in now.headers["content-security-policy"]
    assert "style-src 'self'" in now.headers["content-security-policy"]
    (sheet,) = re.findall(r'href="(/static/settling_report.css[^"]*)"', now.text)
    assert show.get(sheet).headers["content-type"].startswith("text/css")
    assert missing.status_code == 404
    assert "nowhere" in missing.text


def test_a_build_that_is_watched_on_says_so(found: Assessed) -> None:
    """Else a reader wonders at open criteria of a settled build."""
    build = replace(found.build, was_settled=True, journal=found.build.journal[:0])
    settling = assess(build, found.limits.values)
    history = [found.history[0]._replace(verdict="settled")]

    html = page(replace(found, build=build, settling=settling, history=history), LIBRARY)

    assert settling.verdict == "settled"
    assert any(criterion.is_open for criterion in settling.criteria)
    assert "and is watched on" in html


def test_a_relapse_stands_on_the_room_page(make_show: MakeShow) -> None:
    """With the sentence that says what undid it, though it has no probe."""
    show = make_show({"enclosure": [enclosure()]})
    row = VerdictRow("cork-cube", show.now_ms, show.now_ms, "unsettled", None, "Mould: cover 3.")
    show.ask(lambda pipeline, now_ms: pipeline.settle(row, [], "Mould: cover 3.", now_ms))

    assert "No longer settled since 03:12" in show.page()
    assert "Mould: cover 3." in show.page()


def test_a_guest_with_a_token_may_read_it_and_nobody_else(make_show: MakeShow) -> None:
    """As all pages."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    address = "/enclosures/cork-cube/settling/report"

    assert show.get(address).status_code == 401


def test_the_command_writes_a_file_that_stands_alone(
    make_show: MakeShow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With its style in it and nothing to fetch; what the command says is said as without."""
    make_show({"enclosure": [enclosure()]})
    (tmp_path / "dewkeep.toml").write_text("")
    monkeypatch.chdir(tmp_path)
    arguments = ["settling", "cork-cube", "--at", "2026-11-25T09:00:00Z"]

    plain = CliRunner().invoke(main, arguments)
    written = CliRunner().invoke(main, [*arguments, "--report", "report.html"])
    refused = CliRunner().invoke(main, [*arguments, "--report", str(tmp_path)])
    nowhere = CliRunner().invoke(main, [*arguments, "--report", "no/such/folder.html"])

    html = (tmp_path / "report.html").read_text()
    assert (plain.exit_code, written.exit_code) == (0, 0)
    assert written.output == plain.output
    assert "@page { size: A4;" in html
    assert not re.findall(r"(?:href|src)=|url\(", html)
    assert (refused.exit_code, nowhere.exit_code) == (2, 2)
    assert "folder.html: cannot be written: No such file or directory" in nowhere.output
