"""The set-up form: a filled-in form as an enclosure or room, and an enclosure as a form.

What the form does not ask (a probe's calibration, ranges of rarer quantities) stays as it was.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple, TypeVar

from monitor.documents.problems import Route, key_of
from monitor.documents.toml import parse
from monitor.errors import SettingsError
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Room, Zone
from monitor.web.forms import Form
from monitor.web.units import Units

P = TypeVar("P", Room, Enclosure)

ASKED = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
WHENS = ("day", "night", "critical")
MOST_ROWS = 40
SPARE_PROBES, SPARE_INHABITANTS = 1, 2
PLAIN = ("name", "room", "timezone", "lights_on", "lights_off", "volume_l", "built_on")
_LIVES = ("species", "count", "since")
_NUMBERS = {"volume_l", "period_s", "count"}


class ProbeRow(NamedTuple):
    """A probe as it is filled in; ``was`` is the id under which it is known already."""

    id: str = ""
    zone: str = ""
    period_s: str = ""
    was: str = ""
    device: str = ""


@dataclass(frozen=True, slots=True)
class InhabitantRow:
    """An inhabitant as it is filled in."""

    species: str = ""
    count: str = ""
    since: str = ""


@dataclass(frozen=True, slots=True)
class Filled:
    """A form as it stands: texts, whether they make sense or not."""

    id: str
    plain: Mapping[str, str]
    probes: Sequence[ProbeRow]
    inhabitants: Sequence[InhabitantRow] = ()
    ranges: Mapping[str, str] = field(default_factory=dict)
    """By ``zone-when-quantity-end``, in the viewer's unit."""

    @property
    def zones(self) -> list[Zone]:
        """The zones that have a probe, in the order of the model."""
        return [zone for zone in Zone if any(each.zone == zone for each in self.probes)]


def shown(place: Enclosure | Room, units: Units) -> Filled:
    """A place as a form."""
    data = place.model_dump(mode="json", exclude_none=True)
    return Filled(
        id=place.id,
        plain={name: _text(data.get(name)) for name in PLAIN},
        probes=[
            ProbeRow(
                each["id"],
                each["zone"],
                f"{each['period_s']:g}",
                each["id"],
                each.get("device", ""),
            )
            for each in data["probe"]
        ],
        inhabitants=[
            InhabitantRow(each["species"], _text(each.get("count")), _text(each.get("since")))
            for each in data.get("inhabitant", ())
        ],
        ranges={
            f"{zone}-{when}-{quantity}-{end}": f"{round(units.of(quantity)(value), 2):g}"
            for zone, held in data.get("range", {}).items()
            for when, spans in held.items()
            for quantity in ASKED
            if quantity in (spans or {})
            for end, value in zip(("low", "high"), spans[quantity], strict=True)
        },
    )


def with_probe(start: Filled, probe: str, device: str) -> Filled:
    """The form with one more probe, or with a device for one that is there already."""
    rows = [
        each._replace(device=device) if device and each.id == probe else each
        for each in start.probes
    ]
    if all(each.id != probe for each in rows):
        rows.append(ProbeRow(probe, zone_of(probe), "60", device=device))
    return replace(start, probes=rows)


def zone_of(probe: str) -> str:
    """The zone that a probe's id names, if it is that of one."""
    return probe if probe in [zone for zone in Zone if zone is not Zone.ROOM] else Zone.CANOPY


def filled(form: Form) -> Filled:
    """What was sent."""
    return Filled(
        id=form.text("id"),
        plain={name: form.text(name) for name in PLAIN},
        probes=[
            ProbeRow(*(form.text(f"probe-{n}-{name}") for name in ProbeRow._fields))
            for n in range(_rows(form, "probe"))
        ],
        inhabitants=[
            InhabitantRow(*(form.text(f"inhabitant-{n}-{name}") for name in _LIVES))
            for n in range(_rows(form, "inhabitant"))
        ],
        ranges={
            name.removeprefix("range-"): text.strip()
            for name, text in form
            if name.startswith("range-")
        },
    )


def understood(
    sent: Filled, kind: type[P], before: P | None, units: Units
) -> tuple[P | None, dict[str, str]]:
    """The place that a form makes, or what is wrong with it, by field; ``""`` is the whole."""
    data, fields = _document(sent, kind, before, units)
    lone = dict(_lone_ends(sent)) | dict(_nameless(sent))
    try:
        place = parse(kind, data, "form")
    except SettingsError as exc:
        names = {key_of(route, data): name for route, name in fields.items()}
        wrong = dict(lone)
        for problem in exc.problems:
            wrong.setdefault(_field(problem.key, names), problem.says)
        return None, wrong
    return (None, lone) if lone else (place, {})


def _document(
    sent: Filled, kind: type[P], before: P | None, units: Units
) -> tuple[dict[str, Any], dict[Route, str]]:
    """The document that a form makes, and which field each of its values stands in."""
    old = {} if before is None else before.model_dump(mode="json", exclude_none=True)
    data: dict[str, Any] = {"id": sent.id}
    fields: dict[Route, str] = {("id",): "id"}
    for name in PLAIN if kind is Enclosure else ("name",):
        fields[(name,)] = name
        if sent.plain[name]:
            data[name] = _typed(name, sent.plain[name])
    known = {each["id"]: each for each in old.get("probe", ())}
    data["probe"] = []
    for number, row in enumerate(sent.probes):
        if not row.id:
            continue  # a row without an id is none: emptying it takes the probe out
        place = len(data["probe"])
        told = dict(known.get(row.was, {})) | {"id": row.id}
        if kind is Enclosure:
            told["zone"] = row.zone
        told["device"] = row.device or None
        if row.period_s:
            told["period_s"] = _typed("period_s", row.period_s)
        data["probe"].append(told)
        for name in ("id", "zone", "period_s", "device"):
            fields[("probe", place, name)] = f"probe-{number}-{name}"
    if kind is Enclosure:
        _inhabitants(sent, data, fields)
        _ranges(sent, data, fields, old.get("range", {}), units)
    return data, fields


def _inhabitants(sent: Filled, data: dict[str, Any], fields: dict[Route, str]) -> None:
    data["inhabitant"] = []
    for number, row in enumerate(sent.inhabitants):
        if not row.species:
            continue
        place = len(data["inhabitant"])
        told = {name: text for name in _LIVES if (text := getattr(row, name))}
        data["inhabitant"].append({name: _typed(name, text) for name, text in told.items()})
        for name in _LIVES:
            fields[("inhabitant", place, name)] = f"inhabitant-{number}-{name}"


def _ranges(
    sent: Filled,
    data: dict[str, Any],
    fields: dict[Route, str],
    old: Mapping[str, Any],
    units: Units,
) -> None:
    """The keeper's own ranges; of zones and quantities that the form did not ask, the old ones."""
    data["range"] = {}
    for zone in Zone:
        held = {when: dict(spans or {}) for when, spans in old.get(zone, {}).items()}
        if zone in sent.zones:
            for when in WHENS:
                spans = held.setdefault(when, {})
                for quantity in ASKED:
                    name = f"{zone}-{when}-{quantity}"
                    fields[("range", zone.value, when, quantity.value)] = f"range-{name}-low"
                    ends = [sent.ranges.get(f"{name}-{end}", "") for end in ("low", "high")]
                    spans.pop(quantity.value, None)
                    if all(ends):
                        spans[quantity.value] = [_back(each, quantity, units) for each in ends]
        held = {when: spans for when, spans in held.items() if spans}
        if held:
            data["range"][zone.value] = held


def _lone_ends(sent: Filled) -> Iterator[tuple[str, str]]:
    for name, text in sent.ranges.items():
        stem, _, end = name.rpartition("-")
        other = sent.ranges.get(f"{stem}-{'high' if end == 'low' else 'low'}", "")
        if not text and other:
            yield f"range-{stem}-low", "write both, the lowest and the highest, or neither"


def _nameless(sent: Filled) -> Iterator[tuple[str, str]]:
    """Rows that would be passed over, with a device that would be lost."""
    for number, row in enumerate(sent.probes):
        if row.device and not row.id and not row.was:
            yield f"probe-{number}-id", "give the probe an id, such as the place where it hangs"


def _field(key: str, names: Mapping[str, str]) -> str:
    """The field that a key is about: its own, or that of the nearest value around it."""
    while key:
        if key in names:
            return names[key]
        nearest = max((each for each in names if each.startswith(f"{key}.")), default=None, key=len)
        if nearest is not None:
            return names[nearest]
        key = key.rpartition(".")[0]
    return ""


def _typed(name: str, text: str) -> object:
    """A number where one is asked and written, else the text for the model to complain about."""
    if name not in _NUMBERS:
        return text
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return text
    return int(number) if number.is_integer() else number


def _back(text: str, quantity: Quantity, units: Units) -> object:
    """A value in the viewer's unit as the model wants it."""
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        return text
    convert = units.of(quantity)
    return round((number - convert(0.0)) / (convert(1.0) - convert(0.0)), 4)


def _rows(form: Form, name: str) -> int:
    """How many rows of a kind were sent."""
    numbers = [
        int(each.split("-")[1])
        for each, _ in form
        if each.startswith(f"{name}-") and each.split("-")[1].isdigit()
    ]
    return min(max(numbers, default=-1) + 1, MOST_ROWS)


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)
