"""Server-sent events: what happens is told as it happens, and the stream ends when asked to."""

import json
import threading

from tests.support.house import NOW_MS, House
from tests.support.waiting import eventually


def test_readings_and_alarms_are_streamed(house: House) -> None:
    """A listener hears the climate and the alarm, then the end."""
    heard: list[tuple[str, object]] = []

    def listen() -> None:
        with house.http.stream("GET", "/api/v1/events") as stream:
            name = ""
            for line in stream.iter_lines():
                if line.startswith("event: "):
                    name = line.removeprefix("event: ")
                elif line.startswith("data: "):
                    heard.append((name, json.loads(line.removeprefix("data: "))))

    listener = threading.Thread(target=listen)
    listener.start()
    eventually(lambda: house.hub.listeners, "somebody listens")
    for minute in range(25):
        house.take("canopy", NOW_MS - (30 - minute) * 60_000, 23.0, 50.0)
    house.tick()
    house.hub.end()
    listener.join(10)

    assert not listener.is_alive()
    names = [name for name, _ in heard]
    assert set(names) == {"climate", "alarm"}
    alarm = next(data for name, data in heard if name == "alarm")
    assert isinstance(alarm, dict)
    assert alarm["state"] == "unacknowledged"
    assert house.hub.listeners == 0
