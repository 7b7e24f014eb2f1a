"""What feeds and stations say that is not so, and a feed on loopback that says it."""

import gzip
import json
import threading
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from tests.support.skies import MORNING

Say = Callable[[BaseHTTPRequestHandler], None]
HOURS = 48
_UNITS = {
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
    "wind_from_direction": "degrees",
    "air_temperature": "celsius",
    "relative_humidity": "%",
    "cloud_area_fraction": "%",
    "precipitation_amount": "mm",
}
_FAIR = {
    "wind_speed": 4.4,
    "wind_speed_of_gust": 6.0,
    "wind_from_direction": 0.0,
    "air_temperature": 20.0,
    "relative_humidity": 55.0,
    "cloud_area_fraction": 60.0,
}


def _iso(at: int) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def forecast(*, begins: int = MORNING, issued: int = MORNING - 600, **values: Any) -> bytes:
    """A forecast of two days of fair weather, some of its values as told."""
    instant = _FAIR | values
    steps = [
        {
            "time": _iso(begins + 3600 * hour),
            "data": {
                "instant": {"details": instant},
                "next_1_hours": {"details": {"precipitation_amount": 0.0}},
            },
        }
        for hour in range(HOURS)
    ]
    body = {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-96.0, 41.0, 350]},
        "properties": {"meta": {"updated_at": _iso(issued), "units": _UNITS}, "timeseries": steps},
    }
    return json.dumps(body).encode()


def body(content: bytes, status: int = 200, **headers: str) -> Say:
    """Answer with a body."""

    def say(request: BaseHTTPRequestHandler) -> None:
        request.send_response(status)
        found = {"Content-Type": "application/json", "Content-Length": str(len(content))}
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        for name, value in (found | named).items():
            request.send_header(name, value)
        request.end_headers()
        request.wfile.write(content)

    return say


def cut_off(request: BaseHTTPRequestHandler) -> None:
    """Promise the whole, send half of it and hang up."""
    whole = forecast()
    body(whole[: len(whole) // 2], Content_Length=str(len(whole)))(request)
    request.close_connection = True


def _repeated_keys(count: int) -> bytes:
    return b'{"properties": {' + b",".join(b'"a": 1' for _ in range(count)) + b"}}"


def _nested(depth: int) -> bytes:
    return b'{"properties": ' + b"[" * depth + b"]" * depth + b"}"


def zipped(content: bytes, times: int = 1) -> Say:
    """Answer with a body compressed so many times over, and say so."""
    for _ in range(times):
        content = gzip.compress(content)
    return body(content, Content_Encoding=", ".join(["gzip"] * times))


def _redirected(to: str) -> Say:
    return body(b"", 302, Location=to)


DAY_S = 86_400
FEED: Mapping[str, Say] = {
    "temperatures in Fahrenheit": body(forecast(air_temperature=68.0)),
    "temperatures in kelvin": body(forecast(air_temperature=293.0)),
    "humidity of 400 %": body(forecast(relative_humidity=400.0)),
    "humidity as a fraction": body(forecast(relative_humidity=0.55)),
    "wind from 720 degrees": body(forecast(wind_from_direction=720.0)),
    "wind below nothing": body(forecast(wind_speed=-5.0, wind_speed_of_gust=-4.0)),
    "wind of 1e308": body(forecast(wind_speed=1e308, wind_speed_of_gust=1e308)),
    "gusts below the wind": body(forecast(wind_speed=4.4, wind_speed_of_gust=1.0)),
    "hours of null": body(forecast(**dict.fromkeys(_FAIR))),
    "words for numbers": body(forecast(wind_speed="calm")),
    "of yesterday": body(forecast(begins=MORNING - 3 * DAY_S, issued=MORNING - 3 * DAY_S)),
    "of the day after tomorrow": body(forecast(issued=MORNING + 2 * DAY_S)),
    "repeated keys": body(_repeated_keys(3_000)),
    "nested without end": body(_nested(100_000)),
    "a bomb of zeros": zipped(b"0" * 64 * 2**20),
    "a bomb in a bomb": zipped(b" " * 64 * 2**20, times=2),
    "cut off": cut_off,
    "a page in place of JSON": body(b"<html>log in</html>", Content_Type="text/html"),
    "not text": body(b"\xff\xfe\x00" * 1000),
    "redirected in a circle": _redirected("/complete"),
    "redirected to nowhere": _redirected("http://127.0.0.1:1/complete"),
    "too many, for ever": body(b"", 429, Retry_After="3600"),
    "out of order, for ever": body(b"", 503),
    "nothing": body(b""),
}
"""What a feed answers with, every time it is asked."""
TRUE_BUT_FOR_DIRECTION = frozenset({"wind from 720 degrees"})
"""Lies that leave the rest true: where no neighbour lies the hours ahead are known all the same."""
TRUE_FEED = body(forecast())
"""What a feed that tells the truth answers with."""

TRUE_MAST = {"wind": "5 mph", "gust": "7 mph", "wind_from": "0 deg"}
MAST: Mapping[str, Mapping[str, Any]] = {
    "999 mph": {"wind": "999 mph", "gust": "999 mph"},
    "negative": {"wind": "-3 mph", "gust": "-3 mph"},
    "not a number": {"wind": "nan mph", "gust": "nan mph"},
    "no unit": {"wind": 5, "gust": 7},
    "a unit of something else": {"wind": "5 degF", "gust": "7 degF"},
    "a gust far below the mean": {"wind": "9 mph", "gust": "1 mph"},
    "null": {"wind": None, "gust": None},
    "a day ahead": {"time": DAY_S},
    "an hour ago": {"time": -3600},
    "in milliseconds": {"time": "1781107200000"},
    "huge": {"wind": "1e308 mph", "gust": "1e308 mph"},
}
"""What a station posts instead of calm weather; a number for ``time`` is how far it is off. [s]"""


class LyingFeed:
    """A feed on loopback. ``say`` is what it answers with."""

    def __init__(self, say: Say) -> None:
        self.say, self.asked = say, 0
        feed = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                feed.asked += 1
                feed.say(self)

            def log_message(self, *_: Any) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        )
        self._thread.start()

    def __enter__(self) -> "LyingFeed":
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()
