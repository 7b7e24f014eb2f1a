"""Open-Meteo: the documented shape, its pitfalls, and recorded answers."""

import copy
import json
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import respx

from watcher.sources.base import Forecast, SourceError
from watcher.sources.feeds.open_meteo import ATTRIBUTION, OpenMeteoFeed, series_of
from watcher.sources.http import FeedClient, StatusError

START = datetime(2026, 6, 12, 13, tzinfo=UTC)
NOW = int((START + timedelta(hours=24, minutes=20)).timestamp())
HOURS = 30


def body(hours: int = HOURS) -> dict[str, Any]:
    """An answer of the documented shape, as asked for at ``NOW`` (24 hours back)."""
    n = range(hours)
    units = {
        "wind_speed_10m": "m/s",
        "wind_direction_10m": "°",
        "wind_gusts_10m": "m/s",
        "temperature_2m": "°C",
        "relative_humidity_2m": "%",
        "dew_point_2m": "°C",
        "surface_pressure": "hPa",
        "cloud_cover": "%",
        "precipitation": "mm",
        "precipitation_probability": "%",
        "shortwave_radiation": "W/m²",
    }
    values = {name: [10.0 * k + i for i in n] for k, name in enumerate(units)}
    times = [(START + timedelta(hours=i)).strftime("%Y-%m-%dT%H:%M") for i in n]
    return {
        "latitude": 52.25,
        "longitude": 6.875,
        "generationtime_ms": 0.12,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": 29.0,
        "hourly_units": {"time": "iso8601"} | units,
        "hourly": {"time": times} | values,
    }


def source(client: FeedClient, **more: Any) -> OpenMeteoFeed:
    return OpenMeteoFeed(name="model", client=client, latitude=52.2, longitude=6.9, **more)


async def forecast(feed, client: FeedClient, answer: Any, now: int = NOW) -> Forecast:
    feed.bodies["/forecast"] = answer
    given = (await source(client).poll(now)).forecast
    assert given is not None
    return given


async def test_a_forecast_comes_out_with_its_place_and_terms(feed, client) -> None:
    given = await forecast(feed, client, body())
    site = given.series.site
    assert (site.latitude, site.longitude, site.elevation_m) == (52.25, 6.875, 29.0)
    assert (site.wind_height_m, site.temp_height_m) == (10.0, 2.0)
    assert (given.issued_at, given.fetched_at, given.series.source) == (NOW, NOW, "model")
    assert given.attribution == ATTRIBUTION
    assert "CC BY 4.0" in ATTRIBUTION


async def test_instant_values_stay_at_their_time(feed, client) -> None:
    series = (await forecast(feed, client, body())).series
    assert series.times[0] == START.timestamp()
    assert series.wind_m_s[:3].tolist() == [0, 1, 2]
    assert series.wind_from_deg[0] == 10
    assert series.temp_c[0] == 30
    assert series.humidity_pct[0] == pytest.approx(40)
    assert series.dew_point_c[0] == 50
    assert series.pressure_pa[0] == pytest.approx(6000)  # 60 hPa
    assert series.cloud_pct[0] == pytest.approx(70)


async def test_what_is_for_the_preceding_hour_is_moved_to_that_hours_start(feed, client) -> None:
    """precipitation[14:00] fell from 13:00 to 14:00; ours is for the hour that starts at 13:00."""
    series = (await forecast(feed, client, body())).series
    assert series.rain_mm_h[0] == pytest.approx(81)
    assert series.rain_chance_pct[0] == pytest.approx(91)
    assert series.solar_w_m2[0] == pytest.approx(101)


async def test_a_gust_counts_for_the_hour_it_was_in_and_the_one_it_is_stamped_at(
    feed, client
) -> None:
    answer = body()
    answer["hourly"]["wind_gusts_10m"] = [3, 9, 4, None] + [5] * (HOURS - 4)
    series = (await forecast(feed, client, answer)).series
    assert series.gust_m_s[:2].tolist() == [9, 9]
    assert np.isnan(series.gust_m_s[2:4]).all()  # one of the two hours is unknown
    assert series.gust_m_s[4] == 5


async def test_the_last_hour_only_completes_the_one_before_it(feed, client) -> None:
    series = (await forecast(feed, client, body())).series
    assert len(series) == HOURS - 1
    assert np.isfinite(series.rain_mm_h).all()


async def test_nulls_are_missing_and_never_zero(feed, client) -> None:
    answer = body()
    answer["hourly"]["cloud_cover"][-12:] = [None] * 12
    answer["hourly"]["wind_gusts_10m"] = [None] * HOURS
    answer["hourly"]["wind_speed_10m"][3] = None
    series = (await forecast(feed, client, answer)).series
    assert np.isnan(series.cloud_pct[-11:]).all()
    assert np.isnan(series.gust_m_s).all()
    assert math.isnan(series.wind_m_s[3])


@pytest.mark.parametrize(
    ("unit", "m_s"), [("km/h", 1 / 3.6), ("mp/h", 0.44704), ("kn", 1852 / 3600), ("m/s", 1.0)]
)
async def test_units_are_read_from_the_answer(feed, client, unit: str, m_s: float) -> None:
    answer = body()
    answer["hourly_units"]["wind_speed_10m"] = unit
    series = (await forecast(feed, client, answer)).series
    assert series.wind_m_s[5] == pytest.approx(5 * m_s)


async def test_other_units_of_temperature_and_rain_are_read_too(feed, client) -> None:
    answer = body()
    answer["hourly_units"] |= {"temperature_2m": "°F", "precipitation": "inch"}
    series = (await forecast(feed, client, answer)).series
    assert series.temp_c[2] == pytest.approx(0.0)  # 32 °F
    assert series.rain_mm_h[0] == pytest.approx(81 * 25.4)


async def test_a_models_suffix_is_read_whatever_it_is(feed, client) -> None:
    answer = body()
    for part in ("hourly", "hourly_units"):
        old = answer[part]
        answer[part] = {k if k == "time" else f"{k}_some_model": v for k, v in old.items()}
    series = (await forecast(feed, client, answer)).series
    assert series.temp_c[0] == 30
    assert series.rain_mm_h[0] == pytest.approx(81)


async def test_two_models_in_one_answer_are_refused(feed, client) -> None:
    answer = body()
    answer["hourly"]["wind_speed_10m_other"] = answer["hourly"]["wind_speed_10m"]
    with pytest.raises(SourceError, match="one model"):
        await forecast(feed, client, answer)


async def test_a_list_of_one_place_is_read_and_one_of_two_refused(feed, client) -> None:
    assert len((await forecast(feed, client, [body()])).series) == HOURS - 1
    with pytest.raises(SourceError):
        await forecast(feed, client, [body(), body()])


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"utc_offset_seconds": 7200}, "off UTC"),
        ({"latitude": 49.9}, "it is for"),
        ({"error": True, "reason": "Value of type 'String' invalid"}, "invalid"),
    ],
)
async def test_an_answer_to_another_question_is_refused(
    feed, client, change: dict[str, Any], word: str
) -> None:
    with pytest.raises(SourceError, match=word):
        await forecast(feed, client, body() | change)


async def test_a_missing_hour_is_refused(feed, client) -> None:
    answer = body()
    for values in answer["hourly"].values():
        del values[5]
    with pytest.raises(SourceError, match="hour by hour"):
        await forecast(feed, client, answer)


async def test_an_old_copy_served_as_if_it_were_new_is_an_error(feed, client) -> None:
    with pytest.raises(SourceError, match="old copy"):
        await forecast(feed, client, body(80), now=NOW + 7 * 3600)


async def test_a_forecast_that_is_over_is_an_error(feed, client) -> None:
    with pytest.raises(SourceError, match="over already"):
        await forecast(feed, client, body(24), now=NOW)


async def test_the_quota_is_told_in_the_feeds_words(feed, client) -> None:
    reason = "Daily API request limit exceeded. Please try again tomorrow."
    with pytest.raises(StatusError, match="try again tomorrow"):
        await forecast(feed, client, httpx.Response(429, json={"error": True, "reason": reason}))


async def test_it_asks_for_utc_and_metres_a_second(respx_mock: respx.MockRouter) -> None:
    route = respx_mock.get("https://customer.example/v1/forecast").respond(json=body())
    async with FeedClient(contact="a@b.example") as client:
        asking = source(
            client,
            elevation_m=31.7,
            base_url="https://customer.example/v1/",
            api_key="hush",
        )
        await asking.poll(NOW)
    params = dict(route.calls[0].request.url.params)
    assert params["timezone"] == "GMT"
    assert params["wind_speed_unit"] == "ms"
    assert (params["latitude"], params["longitude"], params["elevation"]) == ("52.2", "6.9", "32")
    assert params["apikey"] == "hush"
    asked = set(params["hourly"].split(","))
    assert {"wind_gusts_10m", "soil_temperature_6cm", "soil_temperature_18cm"} <= asked


@pytest.mark.long
async def test_any_broken_body_is_an_error_or_tells_only_what_it_held(
    feed, client, survives
) -> None:
    answer = body(27)
    await survives(
        source(client),
        lambda wrong: feed.bodies.update({"/forecast": wrong}),
        copy.deepcopy(answer),
        NOW,
        lambda polled: polled.forecast.series,
    )


RECORDED = [
    "ny_7pm_after_gmt__open_meteo_forecast.json",
    "open_meteo_forecast.json",
    "open_meteo_hourly_forecast.json",
    "samples_response.json",
]


@pytest.mark.parametrize("name", RECORDED)
def test_recorded_answers_are_read(shared: Path, name: str) -> None:
    found = json.loads((shared / "feeds" / "open_meteo" / name).read_text())
    hourly = found["hourly"]
    place = found["latitude"], found["longitude"]
    series = series_of(found, source="recorded", place=place)
    assert len(series) == len(hourly["time"]) - 1
    assert found["hourly_units"]["wind_speed_10m"] == "km/h"
    winds = [np.nan if v is None else v / 3.6 for v in hourly["wind_speed_10m"]]
    np.testing.assert_allclose(series.wind_m_s, winds[:-1])
    rain = [np.nan if v is None else v for v in hourly["precipitation"]]
    np.testing.assert_allclose(series.rain_mm_h, rain[1:])
    gusts = [np.nan if v is None else v / 3.6 for v in hourly["wind_gusts_10m"]]
    assert (series.gust_m_s >= np.array(gusts[:-1]) - 1e-9).all()


def test_a_recorded_series_in_local_time_is_refused(shared: Path) -> None:
    given = json.loads(
        (shared / "feeds" / "open_meteo" / "frenck_forecast_height_levels.json").read_text()
    )
    with pytest.raises(ValueError, match="3600 s off UTC"):
        series_of(given, source="recorded", place=(given["latitude"], given["longitude"]))


async def test_values_are_kept_as_they_were_given_with_what_they_tell(feed, client) -> None:
    answer = body()
    got = await forecast(feed, client, answer)
    given = {each.quantity: each for each in got.given}
    gust, rain, wind = (given[name] for name in ("gust_m_s", "rain_mm_h", "wind_m_s"))
    assert (gust.statistic, rain.statistic, wind.statistic) == ("maximum", "sum", "instant")
    assert gust.values.tolist() == answer["hourly"]["wind_gusts_10m"]  # the larger of no two hours
    assert gust.starts[0] == int(START.timestamp()) - 3600
    assert (set(gust.intervals), set(wind.intervals)) == ({3600}, {0})
    assert wind.starts[0] == int(START.timestamp())
    assert (got.run_at, got.model) == (None, None)


async def test_the_models_name_is_kept(feed, client) -> None:
    answer = body()
    for table in ("hourly", "hourly_units"):
        found = answer[table]
        answer[table] = {k if k == "time" else f"{k}_some_model": v for k, v in found.items()}
    assert (await forecast(feed, client, answer)).model == "some_model"


def _with_soil(at_6: list[Any], at_18: list[Any], unit: str = "°C") -> dict[str, Any]:
    answer = body()
    for depth, values in (("6cm", at_6), ("18cm", at_18)):
        answer["hourly"][f"soil_temperature_{depth}"] = values
        answer["hourly_units"][f"soil_temperature_{depth}"] = unit
    return answer


def _soil_of(answer: dict[str, Any]) -> list[float]:
    series = series_of(answer, source="model", place=(52.2, 6.9))
    found: list[float] = series.soil_temp_10cm_c.tolist()
    return found


def test_the_soil_at_10_cm_lies_a_third_of_the_way_between_the_depths() -> None:
    assert _soil_of(_with_soil([12.0] * HOURS, [9.0] * HOURS)) == pytest.approx(
        [11.0] * (HOURS - 1)
    )
    fahrenheit = _soil_of(_with_soil([50.0] * HOURS, [50.0] * HOURS, "°F"))
    assert fahrenheit == pytest.approx([10.0] * (HOURS - 1))


def test_a_depth_that_is_missing_leaves_the_soil_unknown() -> None:
    found = _soil_of(_with_soil([12.0] * HOURS, [None, *[9.0] * (HOURS - 1)]))
    assert np.isnan(found[0])
    assert np.isfinite(found[1:]).all()


def test_a_model_without_soil_is_read_without_it() -> None:
    none = [None] * HOURS
    assert np.isnan(_soil_of(_with_soil(none, none, "undefined"))).all()
    assert np.isnan(_soil_of(body())).all()
