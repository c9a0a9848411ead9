"""From now on: the simulated devices publish over real MQTT, in a thread of their own."""

import threading

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.daemon.daemon import Clock
from monitor.demo.wire import reports
from monitor.simulation import Simulator

TURN_S = 0.5


class LiveRoom:
    """Steps the simulation along with a clock and publishes what its devices report."""

    def __init__(self, simulator: Simulator, broker_port: int, clock: Clock) -> None:
        self.clock = clock
        self._simulator = simulator
        self._port = broker_port
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="simulated-room", daemon=True)

    def start(self) -> None:
        """Begin; the broker must be up."""
        self._thread.start()

    def stop(self) -> None:
        """End."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(2.0)

    def _run(self) -> None:
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="simulated-room")
        client.connect("127.0.0.1", self._port)
        client.loop_start()
        try:
            while not self._stopping.wait(TURN_S):
                for report in reports(self._simulator.advance(self.clock())):
                    client.publish(report.topic, report.payload, qos=1)
        finally:
            client.disconnect()
            client.loop_stop()
