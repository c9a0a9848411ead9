"""docs/first-hour.md, done literally with the example settings: its messages, its first alarm."""

import re
from pathlib import Path

import pytest

from tests.support.daemon import RunningDaemon
from tests.support.guide import published_in
from tests.support.publisher import Publisher
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

ROOT = Path(__file__).parents[2]
HOUR = (ROOT / "docs/first-hour.md").read_text(encoding="utf-8")
LOOP = re.compile(
    r"^for ago in ([\d ]+); do\n +mosquitto_pub -t (\S+) -q 1 \\\n +-m '(.*)'\ndone$", re.MULTILINE
)
COUNTED = "'$((60 * ago))'"
"""What the shell makes of it: a number of seconds."""


@pytest.mark.slow
def test_its_messages_give_the_first_reading_and_the_first_alarm(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """With the set-up that is copied; the half hour that comes at once is an alarm at once."""
    ((topic, payload),) = published_in(HOUR)
    ((minutes, dry_topic, dry),) = LOOP.findall(HOUR)
    assert COUNTED in dry
    setup = (ROOT / "config/enclosures.toml").read_text(encoding="utf-8")
    daemon = RunningDaemon(tmp_path, mosquitto.port, setup=setup).start()
    try:
        daemon.wait_ready()
        with Publisher(mosquitto.port) as probe:
            probe.send_all([(topic, payload.encode())])
            climate = eventually(
                lambda: [
                    each
                    for each in daemon.get("/enclosures/cork-cube/climate")["probes"]
                    if "dew_point" in each
                ],
                "the first reading",
            )
            assert [each["probe"] for each in climate] == ["canopy"]
            assert daemon.get("/alarms") == []
            probe.send_all(
                (dry_topic, dry.replace(COUNTED, str(60 * int(ago))).encode())
                for ago in minutes.split()
            )
        (alarm,) = eventually(lambda: daemon.get("/alarms"), "the first alarm")
        assert (alarm["probe"], alarm["quantity"], alarm["condition"]) == (
            "floor",
            "humidity",
            "low",
        )
        assert daemon.get("/health")["rejected"]["counts"] == {}
    finally:
        daemon.close()
