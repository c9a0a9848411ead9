"""From settings to channels."""

from pathlib import Path

import pytest

from monitor.errors import SettingsError
from monitor.notify.kinds import channels
from monitor.notify.mail import EmailChannel
from monitor.notify.mqtt import MqttChannel
from monitor.notify.push import PushChannel
from monitor.notify.webhook import WebhookChannel
from monitor.setup.settings import Settings, load_settings

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")

ALL = """
[[channel]]
name = "hook"
kind = "webhook"
url = "https://hooks.example/"
secret_file = "hook.secret"

[[channel]]
name = "bus"
kind = "mqtt"
topic = "alarms"

[[channel]]
name = "mail"
kind = "email"
host = "smtp.example.org"
username = "dewkeep"
password_file = "mail.secret"
sender = "dewkeep@example.org"
to = ["keeper@example.org"]

[[channel]]
name = "push"
kind = "push"
url_file = "push.secret"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with secrets."""
    for name in ("hook", "mail"):
        (tmp_path / f"{name}.secret").write_text("h0rse")
    (tmp_path / "push.secret").write_text("ntfys://example.org/shelf\n")
    return tmp_path


def settings(folder: Path, text: str = ALL) -> Settings:
    """Settings as they are read from a file."""
    path = folder / "dewkeep.toml"
    path.write_text(text)
    return load_settings(path, {})


def test_each_kind_of_settings_has_its_channel(folder: Path) -> None:
    """By name, in the order of the settings."""
    made = channels(settings(folder), clock=lambda: 0)

    assert {name: type(channel) for name, channel in made.items()} == {
        "hook": WebhookChannel,
        "bus": MqttChannel,
        "mail": EmailChannel,
        "push": PushChannel,
    }


@pytest.mark.parametrize("name", ["hook", "mail", "push"])
def test_an_empty_secret_is_told_at_the_start(folder: Path, name: str) -> None:
    """Not in the night, when it is needed."""
    (folder / f"{name}.secret").write_text("\n")

    with pytest.raises(SettingsError, match=rf"{name}\.secret: is empty"):
        channels(settings(folder), clock=lambda: 0)


def test_an_address_of_a_wrong_kind_is_told_at_the_start(folder: Path) -> None:
    """By the channel and the key that names the file."""
    (folder / "push.secret").write_text("json://127.0.0.1/")

    with pytest.raises(SettingsError, match=r"channel\[push\]\.url_file: its address begins with"):
        channels(settings(folder), clock=lambda: 0)
