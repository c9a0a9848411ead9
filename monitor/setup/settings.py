"""The daemon's settings: one TOML file, overridden by the environment, secrets never in the file.

docs/setup.md explains each key.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Literal, Self, TypeVar

from pydantic import Field, SecretStr, model_validator

from monitor.documents.base import Identifier, Model
from monitor.documents.problems import Route, below, faults, hint, key_of
from monitor.documents.toml import parse, read_toml
from monitor.errors import Problem, SettingsError
from monitor.setup.address import BaseAddress, Host, MqttServer, Port, WebAddress
from monitor.setup.alarming import AlarmSettings
from monitor.setup.calibration import CalibrationSettings
from monitor.setup.channels import Channel, mistakes
from monitor.setup.environment import Variable, overlay, variables
from monitor.setup.judging import JudgeSettings
from monitor.setup.log import LogSettings
from monitor.setup.peers import Peer, mistaken
from monitor.setup.reporting import ReportSettings
from monitor.setup.settling import SettlingSettings
from monitor.setup.share import ShareSettings
from monitor.setup.sources import Source

M = TypeVar("M", bound=Model)


class ServerSettings(Model):
    """Where the API and the page are served."""

    host: Host = "127.0.0.1"
    """Address to listen on; beyond the loopback addresses only with tokens."""
    port: Port = 8420
    """TCP port to listen on."""
    public_url: BaseAddress | None = None
    """Where a keeper's phone reaches the page; links in notifications begin with it."""


class BrokerSettings(MqttServer):
    """The MQTT broker that readings come from."""

    client_id: Identifier = "dewkeep"
    """The name the daemon goes by at the broker; each daemon needs its own."""
    embedded: bool = False
    """Whether to run a broker of our own at that address: for trying out and for one shelf."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        if self.embedded and self.tls:
            raise faults([(("tls",), "is not spoken by the embedded broker; run mosquitto")])
        return self


class StoreSettings(Model):
    """Where readings and state are kept."""

    engine: Literal["sqlite", "influxdb", "victoriametrics"] = "sqlite"
    """The time-series engine; the last two are servers of their own."""
    path: Path = Path("dewkeep.db")
    """The database file; with another engine it holds everything but the readings."""
    url: BaseAddress | None = None
    """Where that server is reached."""
    org: str = ""
    """The organisation there (InfluxDB 2)."""
    bucket: Identifier = "dewkeep"
    """The bucket there (InfluxDB 1: the database); it must exist."""
    token_file: Path | None = None
    """File with the token to sign in with (InfluxDB 1.8: `name:password`)."""
    token: SecretStr | None = None
    """The token, from the environment only."""
    raw_days: int = Field(default=730, ge=1)
    """Days that single readings are kept; averages of five minutes and longer stay for good."""

    @model_validator(mode="after")
    def _server_has_an_address(self) -> Self:
        if self.engine == "sqlite" and self.url is not None:
            raise faults([(("url",), "is not for sqlite, which is a file; set engine too")])
        if self.engine != "sqlite" and self.url is None:
            raise faults([(("url",), f"is missing; where is {self.engine} reached?")])
        return self


class PhotoSettings(Model):
    """Photos in the journal: kept in a folder beside the database."""

    largest_mb: float = Field(default=20.0, gt=0, le=200)
    """Largest file that is taken in, MB."""
    most_megapixels: float = Field(default=50.0, gt=0, le=200)
    """Largest JPEG that is taken in; PNG and WebP a quarter of it, as they take more memory."""
    longest_side_px: int = Field(default=2560, ge=320, le=10_000)
    """Longest side of what is kept; larger pictures are made smaller."""
    most_per_entry: int = Field(default=12, ge=0, le=200)
    """So many photos one entry may have; 0: no photos at all."""


class SetupSettings(Model):
    """Where the set-up and a keeper's own species profiles come from."""

    file: Path | None = None
    """Set-up file to apply at start; without it the set-up is what the API was told."""
    species: Path | None = None
    """Folder with profiles that add to, or take the place of, those that come with dewkeep."""


class HeartbeatSettings(Model):
    """A sign of life to someone who notices when it stays away."""

    url: WebAddress | None = Field(default=None, repr=False)
    """What to call while all is well, http or https; without it there is no heartbeat."""
    method: Literal["GET", "POST"] = "GET"
    """How to call it."""
    every_s: float = Field(default=60, ge=10, le=86_400)
    """Seconds between two calls."""
    allow_private: bool = False
    """Whether the address may lie in this machine or its own network."""


class Settings(Model):
    """All settings, in the shape of the settings file."""

    server: ServerSettings = ServerSettings()
    """The API and the page."""
    broker: BrokerSettings = BrokerSettings()
    """The MQTT broker."""
    store: StoreSettings = StoreSettings()
    """Readings and state."""
    share: ShareSettings = ShareSettings()
    """What this daemon watches."""
    peer: tuple[Peer, ...] = ()
    """The other daemons of the house."""
    photos: PhotoSettings = PhotoSettings()
    """Photos in the journal."""
    setup: SetupSettings = SetupSettings()
    """The set-up."""
    source: tuple[Source, ...] = (Source(topic="dewkeep/{enclosure}/{probe}"),)
    """What messages readings come in."""
    channel: tuple[Channel, ...] = ()
    """Ways notifications leave."""
    heartbeat: HeartbeatSettings = HeartbeatSettings()
    """The sign of life."""
    judge: JudgeSettings = JudgeSettings()
    """How readings are judged."""
    alarms: AlarmSettings = AlarmSettings()
    """When alarms are raised and over."""
    report: ReportSettings = ReportSettings()
    """The morning report."""
    log: LogSettings = LogSettings()
    """The log."""
    settling: SettlingSettings = SettlingSettings()
    """The verdicts on new builds."""
    calibration: CalibrationSettings = CalibrationSettings()
    """Probes in the salt box."""

    @model_validator(mode="after")
    def _channels_fit_together(self) -> Self:
        found = [(("channel", *route), says) for route, says in mistakes(self.channel)]
        if found:
            raise faults(found)
        return self

    @model_validator(mode="after")
    def _peers_are_others(self) -> Self:
        server = self.server
        own = self.broker.client_id, server.host, server.port, server.public_url
        found = [(("peer", *route), says) for route, says in mistaken(self.peer, *own)]
        if found:
            raise faults(found)
        return self

    @model_validator(mode="after")
    def _reports_have_their_channels(self) -> Self:
        names = {channel.name for channel in self.channel}
        for table, called in (("report", self.report), ("settling", self.settling)):
            for number, name in enumerate(called.channels):
                if name not in names:
                    says = f"no channel is named {name!r}{hint(name, names)}"
                    raise faults([((table, "channels", number), says)])
        return self


def load_settings(path: Path, environ: Mapping[str, str]) -> Settings:
    """The settings in a file, with what the environment says on top.

    Relative paths, in the file and in the environment, count from the file's folder.

    Raises:
        SettingsError: lists all that is wrong.
    """
    document = read_toml(path)
    known = variables(Settings, document)
    wrong = list(_inline_secrets(document, known, str(path)))
    heeded, misnamed = overlay(document, known, environ)
    wrong += misnamed
    names = {key_of(route, document): name for route, name in heeded.items()}
    try:
        settings = _anchored(parse(Settings, document, str(path)), path.parent)
        found = [
            Problem(str(path), key_of(route, document), says)
            for route, says in _unreadable(settings)
        ]
    except SettingsError as error:
        found = error.problems
    wrong += (_in_environment(problem, names) for problem in found)
    if wrong:
        raise SettingsError(wrong)
    return settings


def _inline_secrets(
    document: Mapping[str, Any], known: list[Variable], file: str
) -> Iterator[Problem]:
    for variable in known:
        here: object = document
        for part in variable.path:
            here = below(here, part)
        if variable.secret and here is not None:
            says = (
                "a secret is never written here: put it in a file and name that with "
                f"{variable.path[-1]}_file, or in the environment as {variable.name}"
            )
            yield Problem(file, key_of(variable.path, document), says)


def _in_environment(problem: Problem, names: Mapping[str, str]) -> Problem:
    name = names.get(problem.key)
    return problem if name is None else Problem("environment", name, problem.says)


def _anchored(model: M, folder: Path) -> M:
    """The same settings with relative paths counted from a folder."""

    def beside(value: object) -> object:
        match value:
            case Path():
                return folder / value
            case Model():
                return _anchored(value, folder)
            case tuple():
                return tuple(beside(each) for each in value)
        return value

    return model.model_copy(update={key: beside(value) for key, value in model})


def _unreadable(value: object, at: Route = ()) -> Iterator[tuple[Route, str]]:
    """Files that are named but cannot be opened; the database is made when it is missing."""
    match value:
        case Path() if str(at[-1]).endswith("file"):
            try:
                value.open("rb").close()
            except (OSError, ValueError) as exc:  # a zero byte makes no name of a file
                yield at, f"{value} cannot be read: {getattr(exc, 'strerror', None) or exc}"
        case Model():
            for key, each in value:
                yield from _unreadable(each, (*at, key))
        case tuple():
            for number, each in enumerate(value):
                yield from _unreadable(each, (*at, number))
