"""Documents and examples hold to the code."""

import re
from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from monitor.setup.address import MqttServer
from monitor.setup.alarming import AlarmSettings
from monitor.setup.calibration import CalibrationSettings
from monitor.setup.channels import AnyChannel, Email, Mqtt, Push, Webhook
from monitor.setup.file import load_setup
from monitor.setup.judging import JudgeSettings
from monitor.setup.log import LogSettings
from monitor.setup.models import (
    Correction,
    Enclosure,
    Inhabitant,
    Mister,
    Probe,
    Room,
    RoomProbe,
    Setup,
    Span,
    Spans,
    ZoneRange,
)
from monitor.setup.peers import Peer
from monitor.setup.quiet import QuietHours
from monitor.setup.reporting import ReportSettings
from monitor.setup.settings import (
    BrokerSettings,
    HeartbeatSettings,
    PhotoSettings,
    ServerSettings,
    Settings,
    SetupSettings,
    StoreSettings,
    load_settings,
)
from monitor.setup.settling import SettlingSettings
from monitor.setup.share import ShareSettings
from monitor.setup.sources import Source
from monitor.species.library import load_library
from monitor.species.profile import CitedRange, DryOut, Profile, Season, Size

ROOT = Path(__file__).parents[2]

KINDS = (Webhook, Mqtt, Email, Push)
TABLES: list[tuple[str, str, type[BaseModel]]] = [
    ("setup.md", "### `[server]`", ServerSettings),
    ("setup.md", "### `[broker]`", BrokerSettings),
    ("setup.md", "### `[store]`", StoreSettings),
    ("setup.md", "### `[share]`", ShareSettings),
    ("setup.md", "### `[[peer]]`", Peer),
    ("setup.md", "### `[photos]`", PhotoSettings),
    ("setup.md", "### `[setup]`", SetupSettings),
    ("setup.md", "### `[[source]]`", Source),
    ("setup.md", "### `[heartbeat]`", HeartbeatSettings),
    ("setup.md", "### `[log]`", LogSettings),
    ("channels.md", "### Keys of every channel", AnyChannel),
    ("channels.md", "### Quiet hours", QuietHours),
    ("channels.md", "## The webhook", Webhook),
    ("channels.md", "## MQTT", Mqtt),
    ("channels.md", "`[channel.broker]` may have", MqttServer),
    ("channels.md", "## E-mail", Email),
    ("channels.md", "## Push", Push),
    ("setup.md", "### `[judge]`", JudgeSettings),
    ("setup.md", "### `[alarms]`", AlarmSettings),
    ("setup.md", "### `[report]`", ReportSettings),
    ("setup.md", "### `[settling]`", SettlingSettings),
    ("setup.md", "### `[calibration]`", CalibrationSettings),
    ("setup.md", "### `[[room]]`", Room),
    ("setup.md", "### `[[enclosure]]`", Enclosure),
    ("setup.md", "### `[[enclosure.probe]]` and `[[room.probe]]`", Probe),
    ("setup.md", "A correction makes", Correction),
    ("setup.md", "### `[[enclosure.inhabitant]]`", Inhabitant),
    ("setup.md", "### `[enclosure.range.ZONE]`", ZoneRange),
    ("setup.md", "Each of them may have:", Spans),
    ("setup.md", "### `[enclosure.mister]`", Mister),
    ("species.md", "### Profile", Profile),
    ("species.md", "### `[[range]]`", CitedRange),
    ("species.md", "### `[[season]]`", Season),
    ("species.md", "### `[dry_out]`", DryOut),
    ("species.md", "### `[size]`", Size),
]


@pytest.mark.parametrize(("file", "heading", "model"), TABLES)
def test_every_key_is_explained_with_its_default(
    file: str, heading: str, model: type[BaseModel]
) -> None:
    """The table under the heading lists the keys there are, each with the default it has.

    What all channels have is told once for all.
    """
    written = _table(ROOT / "docs" / file, heading)
    elsewhere = AnyChannel.model_fields if model in KINDS else {}

    assert written == {
        field.alias or name: _default(field)
        for name, field in model.model_fields.items()
        if name not in elsewhere
    }


def test_every_model_has_its_table() -> None:
    """No part of the settings, the set-up or a profile goes without."""
    documented = {model for _, _, model in TABLES}
    others = {Settings, Setup, Span, RoomProbe}  # headings; a pair; a Probe with its zone given

    used = {*_models(Settings), *_models(Setup), *_models(Profile), AnyChannel}
    assert used == documented | others


def test_the_example_settings_load() -> None:
    """As they are, without any variable set."""
    settings = load_settings(ROOT / "config" / "dewkeep.toml", {})

    assert settings.setup.file == ROOT / "config" / "enclosures.toml"


def test_what_the_example_settings_leave_out_would_load_too(tmp_path: Path) -> None:
    """Every key that is commented out is right when it is brought in."""
    text = (ROOT / "config" / "dewkeep.toml").read_text()
    text = re.sub(r"^# (?=\s*(\[|\"|\w+ = ))", "", text, flags=re.MULTILINE)
    text = text.replace("embedded = true", "")
    secrets = ("broker.secret", "hook.secret", "keeper-2.token", "mail.secret")
    for name in ("ca.pem", "enclosures.toml", *secrets):
        (tmp_path / name).write_text("x")
    (tmp_path / "dewkeep.toml").write_text(text)

    settings = load_settings(tmp_path / "dewkeep.toml", {})

    assert settings.broker.ca_file == tmp_path / "ca.pem"
    assert settings.setup.species == tmp_path / "species"
    assert [peer.name for peer in settings.peer] == ["keeper-2"]
    assert settings.source[1].devices["0x02"] == "cork-cube/floor"
    assert [channel.name for channel in settings.channel] == ["phone", "neighbour"]
    assert settings.heartbeat.url == "https://alive.example/SECRET"
    assert (settings.judge.flat_after_h, settings.alarms.on_delay_s) == (12, 1800)
    assert settings.report.channels == settings.settling.channels == ("phone",)
    assert settings.settling.limits == {"age_days": 42}


def test_the_example_set_up_loads() -> None:
    """Its species all have profiles."""
    setup = load_setup(ROOT / "config" / "enclosures.toml", load_library())

    assert [enclosure.id for enclosure in setup.enclosure] == ["cork-cube", "fern-jar"]


def test_the_example_profile_loads(tmp_path: Path) -> None:
    """The one in the text of docs/species.md."""
    text = (ROOT / "docs" / "species.md").read_text()
    profile = "\n".join(re.findall(r"^ {4}(.*)$", text, flags=re.MULTILINE))
    (tmp_path / "some-newt.toml").write_text(profile)

    assert len(load_library(tmp_path).profile("some-newt").range) == 2


def test_variables_named_in_the_text_exist() -> None:
    """A keeper can copy them."""
    text = (ROOT / "docs" / "setup.md").read_text() + (ROOT / "config/dewkeep.toml").read_text()
    named = set(re.findall(r"DEWKEEP_\w+__\w+", text))

    assert named == {
        "DEWKEEP_SERVER__PORT",
        "DEWKEEP_CHANNEL__PHONE__URL",
        "DEWKEEP_BROKER__PASSWORD",
        "DEWKEEP_PEER__KEEPER_2__TOKEN",
    }


def _table(path: Path, heading: str) -> dict[str, str]:
    """Keys and defaults of the first table after a heading."""
    lines = iter(path.read_text(encoding="utf-8").splitlines())
    for line in lines:
        if line.startswith(heading):
            break
    table: dict[str, str] = {}
    for line in lines:
        row = re.match(r"\| `(\w+)` \| (.*?) ?\| .+ \|$", line)
        if row:
            table[row[1]] = row[2].strip("`")
        elif table:
            break
    return table


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return ""
    return _written(field.get_default(call_default_factory=True))


def _written(value: Any) -> str:
    match value:
        case None | ():
            return "none"
        case dict() if not value:
            return "none"
        case BaseModel():
            return "none" if value == type(value)() else str(value)
        case bool():
            return str(value).lower()
        case int() | float():
            return f"{value:g}"
        case frozenset() | set():
            return f"[{', '.join(sorted(_written(each) for each in value))}]"
        case Enum():
            return f'"{value.value}"'
        case _:
            return f'"{value:%H:%M}"' if hasattr(value, "hour") else f'"{value}"'


def _models(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    yield model
    for field in model.model_fields.values():
        for below in _within(field.annotation):
            yield from _models(below)


def _within(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in getattr(annotation, "__args__", ()):
        yield from _within(part)
