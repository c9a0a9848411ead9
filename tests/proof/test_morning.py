"""The morning report's whole way: from the daemon's clock to a real HTTP receiver."""

from pathlib import Path

from tests.support.daemon import RunningDaemon
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

REPORT = """
[[channel]]
name = "phone"
kind = "webhook"
url = "{url}"
allow_private = true

[report]
at = "00:00"
channels = ["phone"]
"""


def test_a_report_that_is_due_leaves_once(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """At any time of day one due since midnight is caught up at the start, and at no other."""
    receiver = Receiver()
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=REPORT.format(url=receiver.url))
    try:
        daemon.start()
        eventually(lambda: receiver.received, "the report")
        told = daemon.get("/report/morning")
        daemon.stop()
        daemon.start()
        daemon.wait_ready()
        daemon.stop()

        first = receiver.received[0].json
        assert (first["event"], first["says"]) == ("morning", "1 of 1 needs a hand.")
        assert first["text"] == told["text"]
        assert first["enclosures"][0]["enclosure"] == "cork-cube"
        # A second one only if midnight (UTC) came between the two starts.
        assert len({request.json["date"] for request in receiver.received}) == len(
            receiver.received
        )
    finally:
        daemon.close()
        receiver.close()
