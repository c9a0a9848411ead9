"""From the settings of the channels to channels that deliver."""

from collections.abc import Callable, Mapping

from monitor.notify.channel import Channel
from monitor.notify.mail import EmailChannel
from monitor.notify.mqtt import MqttChannel
from monitor.notify.push import PushChannel
from monitor.notify.webhook import WebhookChannel
from monitor.setup.account import read_secret
from monitor.setup.channels import Channel as ChannelSettings
from monitor.setup.channels import Email, Mqtt, Push, Webhook
from monitor.setup.settings import BrokerSettings, Settings


def channels(settings: Settings, *, clock: Callable[[], int]) -> Mapping[str, Channel]:
    """All channels of the settings by name; ``clock`` gives epoch milliseconds UTC.

    Raises:
        SettingsError: a secret cannot be read, or a channel cannot be used with what it is given.
    """
    return {each.name: _channel(each, settings.broker, clock) for each in settings.channel}


def _channel(
    settings: ChannelSettings, broker: BrokerSettings, clock: Callable[[], int]
) -> Channel:
    match settings:
        case Webhook():
            file = settings.secret_file
            secret = None if file is None else read_secret(file).encode()
            return WebhookChannel(settings, secret, clock=clock)
        case Mqtt():
            server = settings.broker or broker
            return MqttChannel(
                server,
                server.secret(),
                client_id=f"{broker.client_id}-{settings.name}",
                topic=settings.topic,
            )
        case Email():
            return EmailChannel(settings, settings.secret(), clock=clock)
        case Push():
            return PushChannel(settings, settings.address())
