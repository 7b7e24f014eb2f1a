"""What a station posts: taken whole, or refused with one clear error."""

import json
import math
from typing import Any

import cbor2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.sources.base import Flag, Observations
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.post_mapping import PostMapping
from watcher.sources.stations.readings import MAX_BYTES, MAX_READINGS, MOST_IGNORED, parse
from watcher.weather.measures import Measure
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
    read = plain([READING, ahead])
    assert read.flags["wind_m_s"].tolist() == [Flag.GOOD, Flag.FUTURE]
    assert np.isnan(read.usable().wind_m_s[1])
    assert read.usable().wind_m_s[0] == pytest.approx(4.4704)


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
    ],
    ids=str,
)
def test_a_refusal_names_the_key_and_the_mend(change: dict[str, Any], key: str) -> None:
    with pytest.raises(BadReadingError) as found:
        plain(READING | change)
    assert repr(key) in found.value.key
    assert ";" in str(found.value)


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


@pytest.mark.parametrize("content_type", ["", "text/csv", "application/cbor"])
def test_other_content_types_are_refused(content_type: str) -> None:
    with pytest.raises(BadReadingError, match="application/senml"):
        parse(b"{}", content_type, now=NOW, site=SITE, source="mast")


def test_a_content_type_may_carry_parameters() -> None:
    body = json.dumps(READING).encode()
    read = parse(body, "Application/JSON; charset=utf-8", now=NOW, site=SITE, source="m")
    assert len(read.series) == 1


def test_bodies_and_batches_too_large_are_refused() -> None:
    with pytest.raises(BadReadingError, match="bytes"):
        parse(b" " * (MAX_BYTES + 1), PLAIN, now=NOW, site=SITE, source="mast")
    with pytest.raises(BadReadingError, match="entries"):
        plain([{}] * (MAX_READINGS + 1))


def test_a_senml_pack_comes_out_in_si() -> None:
    given = senml(
        {"bn": "urn:dev:mac:0024befffe804ff1:", "bt": NOW - 60, "n": "wind", "u": "m/s", "v": 2.9},
        {"n": "gust", "u": "km/h", "v": 36},
        {"n": "wind_from", "u": "deg", "v": 211},
        {"n": "temperature", "u": "K", "v": 293.15},
        {"n": "humidity", "u": "%RH", "v": 61, "t": 30},
        {"n": "battery", "u": "V", "v": 3.6},
    )
    assert given.series.times.tolist() == [NOW - 60, NOW - 30]
    assert given.series.wind_m_s[0] == 2.9
    assert given.series.gust_m_s[0] == pytest.approx(10)
    assert given.series.temp_c[0] == pytest.approx(20)
    assert given.series.humidity_pct[1] == pytest.approx(61)
    assert math.isnan(given.series.humidity_pct[0])


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
    assert sorted(q.column for q in BY_NAME.values()) == sorted(QUANTITIES)


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
        read = parse(body, content_type, now=NOW, site=SITE, source="mast")
    except BadReadingError:
        return
    assert len(read.series) > 0
    assert not any(np.isinf(values).any() for values in read.series.quantities().values())


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


def test_names_that_mean_nothing_are_named_and_refuse_nothing() -> None:
    read = plain([READING | {"battery": 3.6, "rssi": -70}, READING | {"wnd": "3 m/s"}])
    assert read.ignored == ("battery", "rssi", "wnd")
    assert read.series.wind_m_s[0] == pytest.approx(4.4704)


def test_a_body_of_unknown_names_alone_says_which_they_are() -> None:
    with pytest.raises(BadReadingError, match=r"holds no reading; it has wnd.*map its own names"):
        plain({"time": READING["time"], "wnd": 3.0})


def test_many_names_are_told_in_part_and_printable() -> None:
    many = {f"key{n:03}\n": n for n in range(100)}
    read = plain(READING | many).ignored
    assert len(read) == MOST_IGNORED
    assert all(name.isprintable() for name in read)


def test_a_point_of_the_compass_is_a_direction() -> None:
    assert plain(READING | {"wind_from": "NNW"}).series.wind_from_deg[0] == 337.5
    assert plain(READING | {"wind_from": "north-east"}).series.wind_from_deg[0] == 45.0
    assert np.isnan(plain(READING | {"wind_from": "calm"}).series.wind_from_deg[0])


def test_a_day_of_one_minute_readings_fits_in_one_post() -> None:
    more = {"dew_point": "52 degF", "pressure": "1012.3 hPa", "solar": "512 W/m2"}
    minutes = [
        READING
        | more
        | {"time": f"2026-06-11T{m // 60:02}:{m % 60:02}:00Z", "gust": f"{m % 9}.{m % 7} mph"}
        for m in range(1440)
    ]
    assert len(json.dumps(minutes)) > 262_144
    assert len(plain(minutes).series) == 1440
    pack = [
        {"n": name, "u": "m/s" if name in {"wind", "gust"} else "deg", "v": 3.5, "t": NOW - 60 * m}
        for m in range(1440)
        for name in ("wind", "gust", "wind_from", "wind_spread")
    ]
    assert len(senml({"bn": "urn:dev:farm:st1/"}, *pack).series) == 1440


def mapped(body: object, content_type: str = PLAIN, **given: Any) -> Observations:
    quantities = {
        "wind": ("wspd-avg", Measure.of("wind", "km/h")),
        "wind_from": ("wdir", Measure.of("wind_from", "deg")),
        "temperature": ("air.t", Measure.of("temperature", "degF")),
        "rain": ("tips", Measure.of("rain", "0.2 mm", "total")),
    } | given.pop("quantities", {})
    mapping = PostMapping.of(quantities, **{"missing": ("", "-9999")} | given)
    whole = body if isinstance(body, bytes) else json.dumps(body).encode()
    return parse(whole, content_type, now=NOW, site=SITE, source="mast", mapping=mapping)


OWN = {"ts": NOW - 300, "wspd-avg": 36, "wdir": "NNW", "air": {"t": "68"}, "tips": 5, "vbat": 3.6}


def test_a_stations_own_names_and_bare_numbers_are_read_by_a_mapping() -> None:
    read = mapped(OWN, time="ts")
    series = read.series
    assert series.times.tolist() == [NOW - 300]
    assert series.wind_m_s[0] == pytest.approx(10.0)
    assert series.wind_from_deg[0] == 337.5
    assert series.temp_c[0] == pytest.approx(20.0)
    assert read.ignored == ("vbat",)
    assert read.rain_fall is not None
    assert (read.rain_fall.mm.tolist(), read.rain_fall.is_total) == ([1.0], True)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ((NOW - 300) * 1000, {}),
        (f"{NOW - 300}", {}),
        ("2026-06-12T13:55:00Z", {}),
        ("2026-06-12 08:55", {"form": "iso", "zone": "America/Chicago"}),
        ("12.06.2026 855", {"form": "%d.%m.%Y %H%M", "zone": "-05:00"}),
        ("6/12/2026 8:55 am", {"form": "%m/%d/%Y %I:%M %p", "zone": "America/Chicago"}),
    ],
)
def test_times_are_read_in_the_stations_own_form(written: object, expected: dict[str, str]) -> None:
    assert mapped(OWN | {"ts": written}, time="ts", **expected).series.times.tolist() == [NOW - 300]


def test_readings_may_stand_within_a_body_and_be_of_the_moment_they_come() -> None:
    body = {"site": "x", "obs": [OWN, OWN | {"ts": NOW - 240}]}
    assert len(mapped(body, time="ts", readings="obs").series) == 2
    assert mapped(OWN, time="arrival").series.times.tolist() == [NOW]
    with pytest.raises(BadReadingError, match="'obs': is not there; correct readings"):
        mapped(OWN, time="ts", readings="obs")


def test_what_stands_for_not_measured_is_missing() -> None:
    assert np.isnan(mapped(OWN | {"wspd-avg": -9999.0}, time="ts").series.wind_m_s[0])
    assert np.isnan(mapped(OWN | {"wspd-avg": ""}, time="ts").series.wind_m_s[0])


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"wspd-avg": "fast"}, "wspd-avg"),
        ({"wspd-avg": True}, "wspd-avg"),
        ({"wspd-avg": "3 degC"}, "wspd-avg"),
        ({"ts": None}, "ts"),
        ({"ts": "noon"}, "ts"),
        ({"ts": 12}, "ts"),
    ],
)
def test_a_mapped_refusal_names_key_and_mend(change: dict[str, Any], key: str) -> None:
    with pytest.raises(BadReadingError) as found:
        mapped(OWN | change, time="ts")
    assert repr(key) in found.value.key
    assert "farm file" in found.value.mend or "clock" in found.value.mend


def test_a_form_is_read_as_names_and_values() -> None:
    body = b"ts=2026-06-12+13%3A55%3A00&wspd-avg=36&wdir=201&key=secret"
    read = mapped(body, "application/x-www-form-urlencoded", time="ts", zone="UTC")
    assert (read.series.times.tolist(), read.series.wind_from_deg.tolist()) == (
        [NOW - 300],
        [201.0],
    )
    assert read.ignored == ("key",)


def test_senml_of_any_names_is_read_by_a_mapping() -> None:
    pack = [
        {"bn": "urn:dev:farm:st1/", "bt": NOW - 60, "n": "wspd-avg", "u": "m/s", "v": 3.0},
        {"n": "tips", "v": 5},
        {"n": "wdir", "vs": "NNW"},
        {"n": "humidity", "u": "%RH", "v": 61},
        {"n": "vbat", "u": "V", "v": 3.6},
    ]
    read = mapped(pack, SENML)
    assert read.series.wind_m_s[0] == 3.0  # its own unit counts
    assert read.series.wind_from_deg[0] == 337.5
    assert read.series.humidity_pct[0] == 61.0
    assert read.rain_fall is not None
    assert read.rain_fall.mm.tolist() == [1.0]
    assert read.ignored == ("vbat",)


LABELS = {"bn": -2, "bt": -3, "n": 0, "u": 1, "v": 2, "t": 6, "vs": 3}
RECORDS = [
    {"bn": "urn:dev:farm:st1/", "bt": NOW - 60, "n": "wind", "u": "m/s", "v": 3.25},
    {"n": "gust", "u": "m/s", "v": 5, "t": -1},
]


def as_cbor(stream: bool = False) -> bytes:
    records = [cbor2.dumps({LABELS[k]: v for k, v in record.items()}) for record in RECORDS]
    return (b"\x9f" if stream else bytes([0x80 + len(records)])) + b"".join(records)


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (json.dumps(RECORDS).encode(), "senml+json"),
        (as_cbor(), "senml+cbor"),
        (json.dumps(RECORDS).encode(), "sensml+json"),
        (json.dumps(RECORDS)[:-1].encode() + b",", "sensml+json"),
        (b"\n".join(json.dumps(r).encode() for r in RECORDS), "sensml+json"),
        (as_cbor(stream=True), "sensml+cbor"),
        (as_cbor(stream=True) + b"\xff", "sensml+cbor"),
        (as_cbor(), "sensml+cbor"),
    ],
)
def test_a_pack_is_the_same_in_every_form(body: bytes, kind: str) -> None:
    """RFC 8428, sections 4.8, 5 and 6; labels of table 4."""
    series = parse(body, f"application/{kind}", now=NOW, site=SITE, source="m").series
    assert series.times.tolist() == [NOW - 61, NOW - 60]
    assert series.wind_m_s.tolist() == pytest.approx([np.nan, 3.25], nan_ok=True)
    assert series.gust_m_s.tolist() == pytest.approx([5.0, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"\x80",
        b"\x01",
        b"\xa0",
        b"\x81\x01",
        as_cbor()[:-3],
        as_cbor() + b"\x01",
        b"\x9b" * 9,
        b"\x81" * 5000,
        cbor2.dumps([{0: "wind", 1: "m/s", 2: float("nan"), 6: 0}]),
    ],
    ids=lambda b: b[:8].hex(),
)
def test_cbor_that_is_no_pack_is_refused(body: bytes) -> None:
    for kind in ("senml+cbor", "sensml+cbor"):
        with pytest.raises(BadReadingError):
            parse(body, f"application/{kind}", now=NOW, site=SITE, source="m")
