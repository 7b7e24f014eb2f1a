"""The same rule as a script beside a broker: the station publishes, the script tells the phone."""

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt

from tests.support.mosquitto import Mosquitto
from tests.support.peer.rule_script import TOPIC
from tests.support.peer.webhooks import Http, Phone


@contextmanager
def broker_and_rule(
    folder: Path, phone: Phone, bound_m_s: float
) -> Iterator[Callable[[str], None]]:
    """Run both; hand out how the station publishes a reading, once and acknowledged (QoS 1)."""
    broker = Mosquitto(folder).start()
    with Http(lambda given: phone.tell(given["over"])) as receiver:
        url = f"http://{receiver.address}/"
        script = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "tests.support.peer.rule_script",
                str(broker.port),
                url,
                str(bound_m_s),
            ],
            stdout=subprocess.PIPE,
        )
        station = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        try:
            assert script.stdout is not None
            assert script.stdout.readline() == b"listening\n"
            station.connect("127.0.0.1", broker.port)
            station.loop_start()
            yield lambda reading: station.publish(TOPIC, reading, qos=1).wait_for_publish()
        finally:
            station.loop_stop()
            script.kill()
            script.communicate()
            broker.kill()
