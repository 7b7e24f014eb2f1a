"""A rule beside a broker, as short as one is usually written: arguments are port, URL and bound."""

import json
import sys
from typing import Any

import httpx
import paho.mqtt.client as mqtt

TOPIC = "mast/gust"


def main(port: str, phone: str, bound: str) -> None:
    """Tell the phone whenever the gust passes its bound, and when it is under it again."""
    over = [False]
    pushes = httpx.Client(trust_env=False)
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="rule", clean_session=False)

    def heard(_client: mqtt.Client, _userdata: Any, message: mqtt.MQTTMessage) -> None:
        now = json.loads(message.payload)["gust_m_s"] > float(bound)
        if now is not over[0]:
            pushes.post(phone, json={"over": now}).raise_for_status()
            over[0] = now

    def connected(*_: Any) -> None:
        client.subscribe(TOPIC, qos=1)

    client.on_message, client.on_connect = heard, connected
    client.on_subscribe = lambda *_: print("listening", flush=True)
    client.connect("127.0.0.1", int(port))
    client.loop_forever()


if __name__ == "__main__":
    main(*sys.argv[1:])
