"""What a station posts: taken whole, or refused with one clear error."""

import json
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.sources.bad_reading import BadReadingError
from watcher.sources.base import Flag, Observations
from watcher.sources.readings import MAX_BYTES, MAX_READINGS, parse
from watcher.weather.quantities import BY_NAME
from watcher.weather.series import QUANTITIES, Site

NOW = 1_781_272_800  # 2026-06-12T14:00:00Z
SITE = Site(latitude=41.2, longitude=-96.6, elevation_m=350.0)
PLAIN = "application/json"
SENML = "application/senml+json"


def plain(posted: object, now: int = NOW) -> Observations:
    return parse(json.dumps(posted).encode(), PLAIN, now=now, site=SITE, source="mast")


def senml(*pack: dict[str, Any]) -> Observations:
    return parse(json.dumps(pack).encode(), SENML, now=NOW, site=SITE, source="mast")


READING = {
    "time": "2026-06-12T13:55:00Z",
    "wind": "10 mph",
    "gust": "36 km/h",
    "wind_from": "200 deg",
    "temperature": "68 degF",
    "humidity": "60 %",
}


def test_a_plain_reading_comes_out_in_si() -> None:
    series = plain(READING).series
    assert series.times.tolist() == [NOW - 300]
    assert series.wind_m_s[0] == pytest.approx(4.4704)  # 1 mph = 0.44704 m/s exactly
    assert series.gust_m_s[0] == pytest.approx(10.0)
    assert series.wind_from_deg[0] == 200.0
    assert series.temp_c[0] == pytest.approx(20.0)
    assert series.humidity_pct[0] == pytest.approx(60.0)
    assert (series.site, series.source) == (SITE, "mast")


def test_what_a_station_does_not_measure_is_missing() -> None:
    assert math.isnan(plain(READING).series.dew_point_c[0])
    assert math.isnan(plain(READING | {"wind": None}).series.wind_m_s[0])


def test_a_batch_is_sorted_by_time() -> None:
    late, early = READING, READING | {"time": "2026-06-12T08:54:00-05:00", "wind": "3 m/s"}
    series = plain([late, early]).series
    assert series.times.tolist() == [NOW - 360, NOW - 300]
    assert series.wind_m_s[0] == 3.0


def test_of_a_time_given_twice_the_later_entry_stands_quantity_by_quantity() -> None:
    again = {"time": "2026-06-12T13:55:00+00:00", "wind": "2 m/s", "dew_point": "9 degC"}
    series = plain([READING, again]).series
    assert series.wind_m_s.tolist() == [2.0]
    assert series.dew_point_c.tolist() == [9.0]
    assert series.wind_from_deg.tolist() == [200.0]


def test_one_bad_entry_refuses_the_whole_batch() -> None:
    with pytest.raises(BadReadingError, match=r"reading 1, 'wind'.*unit.*m/s|10 mph"):
        plain([READING, READING | {"wind": "3"}])


def test_a_clock_more_than_two_minutes_ahead_is_flagged() -> None:
    ahead = READING | {"time": "2026-06-12T14:02:01Z"}
    told = plain([READING, ahead])
    assert told.flags["wind_m_s"].tolist() == [Flag.GOOD, Flag.FUTURE]
    assert np.isnan(told.usable().wind_m_s[1])
    assert told.usable().wind_m_s[0] == pytest.approx(4.4704)


def test_a_clock_two_minutes_ahead_is_not_flagged() -> None:
    assert plain(READING | {"time": "2026-06-12T14:02:00Z"}).flags == {}


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"time": None}, "time"),
        ({"time": "yesterday"}, "time"),
        ({"time": "2026-06-12T13:55:00"}, "time"),
        ({"time": 1781272500}, "time"),
        ({"time": "1970-01-01T00:10:00Z"}, "time"),
        ({"time": "0001-01-01T00:00:00+14:00"}, "time"),
        ({"time": "2026-06-13T14:00:01Z"}, "time"),
        ({"time": "9999-12-31T23:59:59-14:00"}, "time"),
        ({"wind": 3.1}, "wind"),
        ({"wind": "3.1"}, "wind"),
        ({"wind": "fast"}, "wind"),
        ({"wind": "3.1 degC"}, "wind"),
        ({"wind": "3.1 blorg"}, "wind"),
        ({"wind": "1e999 m/s"}, "wind"),
        ({"wind": "nan m/s"}, "wind"),
        ({"wind": True}, "wind"),
        ({"wind": {"value": 3}}, "wind"),
        ({"wind": ""}, "wind"),
        ({"humidity": "60"}, "humidity"),
        ({"battery": "3.6 V"}, "battery"),
        ({"wnd": "3 m/s"}, "wnd"),
    ],
    ids=str,
)
def test_a_refusal_names_the_key_and_the_mend(change: dict[str, Any], key: str) -> None:
    with pytest.raises(BadReadingError) as told:
        plain(READING | change)
    assert repr(key) in told.value.key
    assert ";" in str(told.value)


@pytest.mark.parametrize(
    "body",
    [
        *[b"", b"{", b"[]", b"null", b"3", b'"x"', b"[3]", b"[[]]", b"\xff", b"[" * 5000],
        b'{"time": NaN}',
        b'{"time":"2026-06-12T13:55:00Z","time":"2026-06-12T13:56:00Z"}',
    ],
    ids=lambda b: b[:16].decode("latin-1"),
)
@pytest.mark.parametrize("content_type", [PLAIN, SENML])
def test_a_body_without_a_reading_is_refused(body: bytes, content_type: str) -> None:
    with pytest.raises(BadReadingError):
        parse(body, content_type, now=NOW, site=SITE, source="mast")


@pytest.mark.parametrize("content_type", ["", "text/csv", "application/senml+cbor"])
def test_other_content_types_are_refused(content_type: str) -> None:
    with pytest.raises(BadReadingError, match="application/senml"):
        parse(b"{}", content_type, now=NOW, site=SITE, source="mast")


def test_a_content_type_may_carry_parameters() -> None:
    body = json.dumps(READING).encode()
    told = parse(body, "Application/JSON; charset=utf-8", now=NOW, site=SITE, source="m")
    assert len(told.series) == 1


def test_bodies_and_batches_too_large_are_refused() -> None:
    with pytest.raises(BadReadingError, match="bytes"):
        parse(b" " * (MAX_BYTES + 1), PLAIN, now=NOW, site=SITE, source="mast")
    with pytest.raises(BadReadingError, match="entries"):
        plain([{}] * (MAX_READINGS + 1))


def test_a_senml_pack_comes_out_in_si() -> None:
    told = senml(
        {"bn": "urn:dev:mac:0024befffe804ff1:", "bt": NOW - 60, "n": "wind", "u": "m/s", "v": 2.9},
        {"n": "gust", "u": "km/h", "v": 36},
        {"n": "wind_from", "u": "deg", "v": 211},
        {"n": "temperature", "u": "K", "v": 293.15},
        {"n": "humidity", "u": "%RH", "v": 61, "t": 30},
        {"n": "battery", "u": "V", "v": 3.6},
    )
    assert told.series.times.tolist() == [NOW - 60, NOW - 30]
    assert told.series.wind_m_s[0] == 2.9
    assert told.series.gust_m_s[0] == pytest.approx(10)
    assert told.series.temp_c[0] == pytest.approx(20)
    assert told.series.humidity_pct[1] == pytest.approx(61)
    assert math.isnan(told.series.humidity_pct[0])


@pytest.mark.parametrize(
    ("record", "word"),
    [
        ({"n": "wind", "v": 3}, "'u'"),
        ({"n": "wind", "u": "Cel", "v": 3}, "'u'"),
        ({"n": "wind", "u": "mph", "v": 3}, "'u'"),
        ({"n": "wind", "u": "m/s", "vs": "3"}, '"v"'),
        ({"n": "wind", "u": "m/s", "v": 3, "t": 100_000}, "'t'"),
        ({"n": "voltage", "u": "V", "v": 3}, "no reading"),
    ],
)
def test_senml_that_cannot_be_taken_is_refused(record: dict[str, Any], word: str) -> None:
    with pytest.raises(BadReadingError, match=word):
        senml(record)


def test_two_devices_in_one_pack_are_refused_rather_than_mixed() -> None:
    with pytest.raises(BadReadingError, match="by itself"):
        senml(
            {"bn": "2001:db8::2/", "n": "temperature", "v": 25.2, "u": "Cel"},
            {"bn": "2001:db8::1/", "n": "temperature", "v": 12.3, "u": "Cel"},
        )


def test_the_table_of_names_covers_the_whole_weather_shape() -> None:
    assert sorted(q.series for q in BY_NAME.values()) == sorted(QUANTITIES)


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["3 m/s", "2026-06-12T13:00:00Z", NOW, "m/s", "Cel"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from([*BY_NAME, "time", "n", "v", "u", "t", "bn", "bt", "bv", "s", "x_"]),
            inner,
            max_size=6,
        )
    ),
    max_leaves=12,
)


@given(posted=json_values, content_type=st.sampled_from([PLAIN, SENML]))
def test_whatever_is_posted_is_taken_finite_or_refused(posted: object, content_type: str) -> None:
    body = json.dumps(posted).encode()
    try:
        told = parse(body, content_type, now=NOW, site=SITE, source="mast")
    except BadReadingError:
        return
    assert len(told.series) > 0
    assert not any(np.isinf(values).any() for values in told.series.quantities().values())


@given(
    wind=st.floats(-1e6, 1e6),
    humidity=st.floats(-1e6, 1e6) | st.none(),
    at=st.integers(NOW - 10**6, NOW),
)
def test_plain_and_senml_say_the_same(wind: float, humidity: float | None, at: int) -> None:
    stamp = np.datetime_as_string(np.datetime64(at, "s")) + "Z"
    reading = {"time": str(stamp), "wind": f"{wind!r} m/s"}
    pack: list[dict[str, Any]] = [{"bt": at, "n": "wind", "u": "m/s", "v": wind}]
    if humidity is not None:
        reading["humidity"] = f"{humidity!r} %"
        pack.append({"n": "humidity", "u": "%RH", "v": humidity})
    ours, theirs = plain(reading).series, senml(*pack).series
    assert ours.times.tolist() == theirs.times.tolist() == [at]
    np.testing.assert_array_equal(ours.wind_m_s, theirs.wind_m_s)
    np.testing.assert_array_equal(ours.humidity_pct, theirs.humidity_pct)
