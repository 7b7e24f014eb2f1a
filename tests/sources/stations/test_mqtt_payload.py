"""What messages hold, and when their age is known. SenML packs are RFC 8428's form."""

import json
from typing import Any

import pytest

from watcher.sources.stations import readings
from watcher.sources.stations.mqtt_payload import Mapped, MappedValue, Payload, PostedPayload
from watcher.sources.stations.post_mapping import Key

NOW = 1_781_272_800  # 2026-06-12 14:00 UTC
SENML = PostedPayload(["farm/mast"], "application/senml+json")
DATED = [
    {"bn": "urn:dev:farm:st1/", "bt": NOW - 60, "n": "wind", "u": "m/s", "v": 2.9},
    {"n": "temperature", "u": "Cel", "v": 19.4},
]
UNDATED = [{"bn": "urn:dev:farm:st1/", "n": "wind", "u": "m/s", "v": 2.9}]


def message(body: Any, *, kept: bool = False, topic: str = "farm/mast") -> Payload:
    return Payload(topic, json.dumps(body).encode(), kept)


def mapped(*, time: str | None = None, ahead_s: float = 0.0) -> Mapped:
    return Mapped(
        [
            MappedValue.of("wind", topic="farm/mast", at="wind.avg", unit="km/h"),
            MappedValue.of("temperature", topic="farm/+/temperature", at="@", unit="degF"),
        ],
        None if time is None else Key.of("time", time),
        ahead_s,
    )


def test_a_senml_pack_is_read_at_its_own_time() -> None:
    assert SENML.rows(message(DATED), NOW) == {NOW - 60: {"wind_m_s": 2.9, "temp_c": 19.4}}


def test_a_kept_pack_with_times_of_its_own_is_read_at_them() -> None:
    assert SENML.rows(message(DATED, kept=True), NOW + 7200).keys() == {NOW - 60}


def test_a_live_pack_without_times_is_of_now() -> None:
    assert SENML.rows(message(UNDATED), NOW) == {NOW: {"wind_m_s": 2.9}}


@pytest.mark.parametrize("time", [None, -30, 0])
def test_a_kept_pack_whose_age_nobody_knows_is_passed_over(time: float | None) -> None:
    pack = [UNDATED[0] | ({} if time is None else {"t": time})]
    assert SENML.rows(message(pack, kept=True), NOW) == {}


def test_the_json_that_stations_post_is_read() -> None:
    reader = PostedPayload(["farm/mast"], "application/json")
    body = {"time": "2026-06-12T13:59:00Z", "wind": "10 km/h"}
    assert reader.rows(message(body, kept=True), NOW) == {
        NOW - 60: {"wind_m_s": pytest.approx(10 / 3.6)}
    }


def test_a_clock_that_runs_ahead_is_set_right_where_it_dates_the_reading() -> None:
    ahead = PostedPayload(["farm/mast"], "application/senml+json", clock_ahead_s=3600.0)
    assert ahead.rows(message(DATED), NOW).keys() == {NOW - 3660}
    assert ahead.rows(message(UNDATED), NOW).keys() == {NOW}
    slow = mapped(time="ts", ahead_s=-600.0)
    assert slow.rows(message({"ts": NOW - 600, "wind": {"avg": 1}}), NOW).keys() == {NOW}


@pytest.mark.parametrize(
    "expected", [NOW - 60, "2026-06-12T13:59:00Z", "2026-06-12T08:59:00-05:00"]
)
def test_a_mapped_message_is_read_at_its_own_time(expected: Any) -> None:
    rows = mapped(time="ts").rows(message({"ts": expected, "wind": {"avg": 36}}, kept=True), NOW)
    assert rows == {NOW - 60: {"wind_m_s": pytest.approx(10.0)}}


def test_a_mapped_message_without_time_is_of_now_unless_it_was_kept() -> None:
    said = {"wind": {"avg": 36}}
    assert mapped().rows(message(said), NOW) == {NOW: {"wind_m_s": pytest.approx(10.0)}}
    assert mapped().rows(message(said, kept=True), NOW) == {}


def test_a_bare_value_on_a_topic_of_its_own_is_read() -> None:
    rows = mapped().rows(message(50, topic="farm/mast/temperature"), NOW)
    assert rows == {NOW: {"temp_c": pytest.approx(10.0)}}


def test_a_number_sent_as_text_is_a_number() -> None:
    assert mapped().rows(message({"wind": {"avg": " 36.0 "}}), NOW)[NOW]["wind_m_s"] == (
        pytest.approx(10.0)
    )


@pytest.mark.parametrize(
    "said",
    [
        {"wind": {"avg": "calm"}},
        {"wind": {"avg": "nan"}},
        {"wind": {"avg": True}},
        {"wind": {"avg": [36]}},
        {"wind": {}},
        {"wind": None},
        {},
        [],
        3.0,
        "text",
    ],
)
def test_what_is_no_value_is_refused_and_never_zero(said: Any) -> None:
    with pytest.raises(ValueError, match="it"):
        mapped().rows(message(said), NOW)


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"\xff\xfe", "utf-8"),
        (b"{", "Expecting"),
        (b'{"wind": {"avg": NaN}}', "NaN"),
        (b'{"wind": {"avg": 1e999}}', "too large"),
        (b"1" * (readings.MAX_BYTES + 1), "bytes"),
    ],
)
def test_a_body_that_is_no_strict_json_is_refused(body: bytes, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        mapped().rows(Payload("farm/mast", body, kept=False), NOW)


@pytest.mark.parametrize(
    ("time", "why"),
    [
        (None, "neither"),
        ("yesterday", "isoformat"),
        ("2026-06-12T13:59:00", "no time zone"),
        ((NOW - 60) * 100, "neither"),
        (0, "neither"),
        (NOW + 2 * 86_400, "clock"),
    ],
)
def test_a_time_that_cannot_be_is_refused(time: Any, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        mapped(time="ts").rows(message({"ts": time, "wind": {"avg": 36}}), NOW)


def test_topics_are_each_listened_to_once() -> None:
    twice = [
        MappedValue.of(name, topic="farm/mast", at=name, unit="m/s") for name in ("wind", "gust")
    ]
    assert Mapped(twice).topics == ["farm/mast"]


@pytest.mark.parametrize(("at", "unit"), [("wind[", "m/s"), ("wind", "degC")])
def test_a_mapping_that_cannot_be_is_told_when_it_is_built(at: str, unit: str) -> None:
    with pytest.raises(ValueError, match=r"quantities\.wind"):
        MappedValue.of("wind", topic="farm/mast", at=at, unit=unit)
