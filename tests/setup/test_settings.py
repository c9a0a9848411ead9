"""The daemon's settings: defaults, the environment, paths, secrets, and mistakes."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, SecretStr

from monitor.errors import SettingsError
from monitor.setup.account import read_secret
from monitor.setup.channels import Mqtt, Push, Webhook
from monitor.setup.environment import variables
from monitor.setup.settings import Settings, load_settings

HOOK = """
[[channel]]
name = "phone-1"
kind = "webhook"
url = "https://hooks.example/TOKEN"
"""


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A settings file that says nothing yet."""
    path = tmp_path / "dewkeep.toml"
    path.write_text("")
    return path


def _load(config: Path, text: str, **environ: str) -> Settings:
    config.write_text(text, encoding="utf-8")
    return load_settings(config, environ)


def test_an_empty_file_is_enough(config: Path) -> None:
    """Every setting has a default: a broker and a page on this machine, SenML on our topics."""
    settings = load_settings(config, {})

    assert (settings.server.host, settings.server.port) == ("127.0.0.1", 8420)
    assert (settings.broker.host, settings.broker.port) == ("127.0.0.1", 1883)
    assert settings.broker.secret() is None
    assert [source.topic for source in settings.source] == ["dewkeep/{enclosure}/{probe}"]
    assert (settings.setup.file, settings.channel) == (None, ())


def test_relative_paths_count_from_the_file(config: Path) -> None:
    """Wherever the daemon is started from; absolute paths stay."""
    (config.parent / "enclosures.toml").write_text("")
    settings = _load(config, '[store]\npath = "data/x.db"\n[setup]\nfile = "enclosures.toml"\n')

    assert settings.store.path == config.parent / "data" / "x.db"
    assert settings.setup.file == config.parent / "enclosures.toml"
    assert _load(config, '[store]\npath = "/var/x.db"').store.path == Path("/var/x.db")


def test_a_path_from_the_environment_counts_from_the_file_too(config: Path) -> None:
    """One rule for paths, whoever names them."""
    settings = _load(config, "", DEWKEEP_STORE__PATH="other.db")

    assert settings.store.path == config.parent / "other.db"


def test_the_environment_comes_before_the_file(config: Path) -> None:
    """Numbers, truth and text, in tables that the file has and in those that it has not."""
    settings = _load(
        config,
        '[server]\nport = 1\nhost = "localhost"\n' + HOOK,
        DEWKEEP_SERVER__PORT="9000",
        DEWKEEP_BROKER__TLS="true",
        DEWKEEP_ALARMS__ON_DELAY_S="60",
        DEWKEEP_CHANNEL__PHONE_1__ALLOW_PRIVATE="true",
        DEWKEEP_CONFIG="elsewhere.toml",
        HOME="/home/keeper",
    )

    assert (settings.server.host, settings.server.port) == ("localhost", 9000)
    assert settings.broker.tls
    assert settings.alarms.on_delay_s == 60
    (hook,) = settings.channel
    assert isinstance(hook, Webhook)
    assert hook.allow_private


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("DEWKEEP_SRVER__PORT", "there is no such setting; did you mean 'DEWKEEP_SERVER__PORT'"),
        ("DEWKEEP_SERVER", "there is no such setting"),
        ("DEWKEEP_PORT", "there is no such setting"),
        ("DEWKEEP_SOURCE__TOPIC", "there is no such setting"),
        ("DEWKEEP_CHANNEL__EMAIL__URL", "there is no such setting"),
        ("DEWKEEP_SERVER__PORT", "must be a whole number from 1 to 65535, not 'x'"),
        ("DEWKEEP_BROKER__CA_FILE", "/x cannot be read: No such file"),
    ],
)
def test_a_wrong_variable_is_told_by_its_name(config: Path, name: str, says: str) -> None:
    """Misspelt or misused, the message names the variable, not the file."""
    with pytest.raises(SettingsError, match=rf"^environment: {name}: .*{says}"):
        _load(config, "[broker]\ntls = true", **{name: "x"})


def test_a_table_that_is_none_is_the_files_mistake(config: Path) -> None:
    """The environment cannot mend a file that has a number where a table belongs."""
    with pytest.raises(SettingsError, match=r"dewkeep\.toml: server: must be a table of keys"):
        _load(config, "server = 5", DEWKEEP_SERVER__PORT="9000")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            "[server]\nport = 'abc'",
            "server.port: must be a whole number from 1 to 65535, not 'abc'",
        ),
        ("[server]\nport = 0", "server.port: must be a whole number from 1 to 65535, not 0"),
        ("[server]\nhost = 'http://x/'", "server.host: must be a host name or address, without"),
        ("[sever]", "sever: unknown key; did you mean 'server'"),
        ("[broker]\nclient_id = 'a/b'", "broker.client_id: must be an id of 1 to 64 letters"),
        ("[broker]\npassword_file = 'dewkeep.toml'", "broker.username: is missing; a password"),
        ("[broker]\nca_file = 'dewkeep.toml'", "broker.ca_file: does nothing without tls = true"),
        ("[broker]\ntls = true\nembedded = true", "broker.tls: is not spoken by the embedded bro"),
        (
            "[store]\nengine = 'abacus'",
            "store.engine: must be one of sqlite, influxdb, vic",
        ),
        ("[store]\nengine = 'influxdb'", "store.url: is missing; where is influxdb reached"),
        ("[store]\nurl = 'http://db'", "store.url: is not for sqlite"),
        ("[store]\ntoken = 'xyz'", "store.token: a secret is never written here"),
        ("[store]\nraw_days = 0", "store.raw_days: must be a whole number of at least 1, not 0"),
        ("[setup]\nfile = 'none.toml'", "setup.file: .*none.toml cannot be read: No such file"),
        (
            "[setup]\nfile = 'a\\u0000b'".replace("'", '"'),
            "setup.file: .* cannot be read: embedded",
        ),
        ("[[source]]\n[[source]]\ntopic = 'a/+'", r"source\[1\].topic: is missing"),
        ("[[source]]\ntopic = 'a/+'", r"source\[1\].topic: 'a/\+' holds '\+'; name the level"),
        (
            HOOK.replace("webhook", "pigeon"),
            r"channel\[phone-1\].kind: must be one of email, mqtt, push, webhook, not 'pigeon'",
        ),
        (HOOK + "secret_file = 'none'", r"channel\[phone-1\].secret_file: .* cannot be read"),
        (HOOK + "secret = 'x'", r"channel\[phone-1\].secret: unknown key; did you mean 'secret_fi"),
        (
            HOOK + "[report]\nchannels = ['phone-1', 'phone-2']",
            r"report.channels\[2\]: no channel is named 'phone-2'; did you mean 'phone-1'",
        ),
        (HOOK + HOOK, r"channel\[phone-1\].name: two channels are named 'phone-1'"),
        (
            "[alarms]\non_delay_s = -1",
            "alarms.on_delay_s: must be a number from 0 to 86400, not -1",
        ),
        ("[judge]\nfoo = 1", "judge.foo: unknown key"),
        ("[server\n", "line 1: is no TOML"),
    ],
)
def test_a_mistake_is_told_at_its_key(config: Path, text: str, says: str) -> None:
    """File, key, and what would be right."""
    with pytest.raises(SettingsError, match=rf"dewkeep\.toml: {says}"):
        _load(config, text)


def test_all_mistakes_are_told_at_once(config: Path) -> None:
    """In the file and in the environment."""
    with pytest.raises(SettingsError) as refusal:
        _load(config, "[server]\nport = 0\n[broker]\ntls = 5", DEWKEEP_X="1")

    assert [problem.key for problem in refusal.value.problems] == [
        "DEWKEEP_X",
        "server.port",
        "broker.tls",
    ]


def test_a_password_comes_from_its_file(config: Path) -> None:
    """Without the line end that every editor leaves."""
    (config.parent / "broker.secret").write_text("h0rse battery\n")
    broker = _load(config, '[broker]\nusername = "dk"\npassword_file = "broker.secret"').broker

    assert broker.secret() == "h0rse battery"


def test_a_password_from_the_environment_comes_first(config: Path) -> None:
    """It is used as it stands, and never shown."""
    settings = _load(config, '[broker]\nusername = "dk"', DEWKEEP_BROKER__PASSWORD="h0rse")

    assert settings.broker.secret() == "h0rse"
    assert "h0rse" not in repr(settings) + str(settings)


def test_an_address_with_a_token_is_not_shown(config: Path) -> None:
    """Webhook addresses often hold their secret themselves."""
    settings = _load(config, HOOK)

    (hook,) = settings.channel
    assert isinstance(hook, Webhook)
    assert hook.url.endswith("TOKEN")
    assert "TOKEN" not in repr(settings) + str(settings)


def test_a_password_in_the_file_is_refused_unseen(config: Path) -> None:
    """The message says where it belongs and does not repeat it."""
    with pytest.raises(SettingsError) as refusal:
        _load(config, '[broker]\nusername = "dk"\npassword = "h0rse"\nport = "h"')

    inline = refusal.value.problems[0]
    assert inline.key == "broker.password"
    assert inline.says.endswith(
        "with password_file, or in the environment as DEWKEEP_BROKER__PASSWORD"
    )
    assert "h0rse" not in str(refusal.value)


@pytest.mark.parametrize(("content", "says"), [(b"  \n", "is empty"), (b"\xff", "cannot be read")])
def test_a_secret_file_holds_a_secret(tmp_path: Path, content: bytes, says: str) -> None:
    """An empty or unreadable one is a mistake, not an empty password."""
    path = tmp_path / "x.secret"
    path.write_bytes(content)

    with pytest.raises(SettingsError, match=rf"x\.secret: {says}"):
        read_secret(path)


PUSH = """
[[channel]]
name = "push"
kind = "push"
"""


def test_a_channels_keys_are_those_of_its_kind(config: Path) -> None:
    """A push service's address is a secret that the environment gives; a webhook's is not."""
    (push,) = _load(config, PUSH, DEWKEEP_CHANNEL__PUSH__URL="ntfys://x/t0ken").channel

    assert isinstance(push, Push)
    assert push.address() == "ntfys://x/t0ken"
    assert "t0ken" not in repr(push)
    with pytest.raises(SettingsError, match="CHANNEL__PUSH__SECRET_FILE: there is no such setting"):
        _load(config, PUSH, DEWKEEP_CHANNEL__PUSH__SECRET_FILE="x")


def test_a_push_address_in_the_file_is_refused_unseen(config: Path) -> None:
    """It is a secret like a password."""
    with pytest.raises(SettingsError, match=r"channel\[push\].url: a secret is never") as refusal:
        _load(config, PUSH + 'url = "ntfys://x/t0ken"')

    assert "t0ken" not in str(refusal.value)


def test_parts_of_a_channel_come_from_the_environment_too(config: Path) -> None:
    """A table within a table goes by one name after the other."""
    bus = '[[channel]]\nname = "bus"\nkind = "mqtt"\ntopic = "a"\n[channel.broker]\n'
    (channel,) = _load(
        config,
        bus + 'username = "me"',
        DEWKEEP_CHANNEL__BUS__BROKER__PASSWORD="h0rse",
        DEWKEEP_CHANNEL__BUS__BROKER__PORT="8883",
    ).channel

    assert isinstance(channel, Mqtt)
    assert channel.broker is not None
    assert (channel.broker.secret(), channel.broker.port) == ("h0rse", 8883)


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("https://dewkeep.example", "https://dewkeep.example"),
        ("https://dewkeep.example/", "https://dewkeep.example"),
        ("http://192.0.2.7:8420/keeper/", "http://192.0.2.7:8420/keeper"),
    ],
)
def test_a_public_url_is_one_that_paths_are_added_to(config: Path, written: str, read: str) -> None:
    """Whether or not it ends in a slash."""
    assert _load(config, f'[server]\npublic_url = "{written}"').server.public_url == read


@pytest.mark.parametrize("url", ["dewkeep.example", "https://x/?a=1", "https://x/#a", "ftp://x/"])
def test_a_public_url_that_no_path_fits_is_refused(config: Path, url: str) -> None:
    """Links made from it would lead nowhere."""
    with pytest.raises(SettingsError, match=r"server\.public_url"):
        _load(config, f'[server]\npublic_url = "{url}"')


def test_secrets_are_the_environments_only() -> None:
    """Every field that holds a secret is known as one, so that a file can never set it."""
    known = {variable.path: variable.secret for variable in variables(Settings, {})}

    assert set(_secret_fields(Settings)) == {path for path, secret in known.items() if secret}


def _secret_fields(model: type[BaseModel], at: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, field in model.model_fields.items():
        kind: Any = field.annotation
        if kind == SecretStr | None or kind is SecretStr:
            yield (*at, name)
        elif isinstance(kind, type) and issubclass(kind, BaseModel):
            yield from _secret_fields(kind, (*at, name))
