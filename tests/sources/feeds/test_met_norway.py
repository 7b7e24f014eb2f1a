"""MET Norway Locationforecast: the documented shape, its pitfalls, and recorded answers."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import respx
from structlog.testing import capture_logs

from watcher.sources.base import Forecast, SourceError
from watcher.sources.feeds.met_norway import ATTRIBUTION, MetNorwayFeed, forecast_of
from watcher.sources.http import FeedClient, StatusError

START = datetime(2026, 6, 12, 14, tzinfo=UTC)
NOW = int(START.timestamp()) + 1200
UNITS = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "cloud_area_fraction": "%",
    "dew_point_temperature": "celsius",
    "precipitation_amount": "mm",
    "probability_of_precipitation": "%",
    "relative_humidity": "%",
    "wind_from_direction": "degrees",
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
}


def step(hour: int, *, hourly: bool = True) -> dict[str, Any]:
    instant = {
        "air_pressure_at_sea_level": 1015.2,
        "air_temperature": 15.0 + hour,
        "cloud_area_fraction": 40.0,
        "dew_point_temperature": 9.5,
        "relative_humidity": 60.5,
        "wind_from_direction": 200.0 + hour,
        "wind_speed": 3.0 + hour,
    }
    data: dict[str, Any] = {"instant": {"details": instant}}
    if hourly:
        instant["wind_speed_of_gust"] = 6.0 + hour
        rain = {"precipitation_amount": 0.25 * hour, "probability_of_precipitation": 10.0 * hour}
        data["next_1_hours"] = {"summary": {"symbol_code": "cloudy"}, "details": rain}
    data["next_6_hours"] = {"details": {"precipitation_amount": 7.0}}
    return {"time": (START + timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M:%SZ"), "data": data}


def body(steps: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """Four hourly steps, then the six-hourly tail, the last step with the instant only."""
    tail = [step(hour, hourly=False) for hour in (4, 10, 16)]
    del tail[-1]["data"]["next_6_hours"]
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [10.0, 60.1, 150]},
        "properties": {
            "meta": {"updated_at": "2026-06-12T11:02:00Z", "units": UNITS},
            "timeseries": [step(hour) for hour in range(4)] + tail if steps is None else steps,
        },
    }


def source(client: FeedClient, **more: Any) -> MetNorwayFeed:
    return MetNorwayFeed(name="met", client=client, latitude=60.1, longitude=10.0, **more)


async def forecast(feed, client: FeedClient, answer: Any, now: int = NOW) -> Forecast:
    feed.bodies["/complete"] = answer
    given = (await source(client).poll(now)).forecast
    assert given is not None
    return given


async def test_a_forecast_comes_out_in_si_with_its_place_issue_and_terms(feed, client) -> None:
    given = await forecast(feed, client, body())
    series, site = given.series, given.series.site
    assert (site.latitude, site.longitude, site.elevation_m) == (60.1, 10.0, 150.0)
    assert (site.wind_height_m, site.temp_height_m) == (10.0, 2.0)
    assert given.issued_at == int(datetime(2026, 6, 12, 11, 2, tzinfo=UTC).timestamp())
    assert given.fetched_at == NOW
    assert "MET Norway" in given.attribution == ATTRIBUTION
    assert series.wind_m_s.tolist() == [3, 4, 5, 6]
    assert series.wind_from_deg[0] == 200
    assert series.temp_c[0] == 15
    assert series.humidity_pct[0] == pytest.approx(60.5)
    assert series.dew_point_c[0] == 9.5
    assert series.cloud_pct[0] == pytest.approx(40)


async def test_rain_is_for_the_hour_that_starts_at_the_time(feed, client) -> None:
    series = (await forecast(feed, client, body())).series
    assert series.rain_mm_h.tolist() == pytest.approx([0, 0.25, 0.5, 0.75])
    assert series.rain_chance_pct.tolist() == pytest.approx([0, 10, 20, 30])


async def test_the_six_hourly_tail_is_left_out(feed, client) -> None:
    series = (await forecast(feed, client, body())).series
    assert np.diff(series.times).tolist() == [3600] * 3
    assert series.times[0] == START.timestamp()


async def test_a_hole_in_the_hours_is_not_bridged(feed, client) -> None:
    steps = [step(hour) for hour in (0, 1, 4, 5, 6)]
    series = (await forecast(feed, client, body(steps))).series
    assert (series.times - START.timestamp()).tolist() == [0, 4 * 3600, 5 * 3600]


async def test_a_gust_is_the_larger_of_its_own_and_the_next_hours(feed, client) -> None:
    series = (await forecast(feed, client, body())).series
    assert series.gust_m_s[:3].tolist() == [7, 8, 9]
    assert np.isnan(series.gust_m_s[3])  # the next step, of the tail, has none


async def test_where_the_feed_has_no_gusts_they_are_unknown_not_zero(feed, client) -> None:
    answer = body()
    for each in answer["properties"]["timeseries"]:
        each["data"]["instant"]["details"].pop("wind_speed_of_gust", None)
    assert np.isnan((await forecast(feed, client, answer)).series.gust_m_s).all()


async def test_sea_level_pressure_is_not_taken_for_station_pressure(feed, client) -> None:
    assert np.isnan((await forecast(feed, client, body())).series.pressure_pa).all()


async def test_empty_details_are_missing_values(feed, client) -> None:
    answer = body()
    answer["properties"]["timeseries"][1]["data"]["instant"]["details"] = {}
    answer["properties"]["timeseries"][2]["data"]["next_1_hours"]["details"] = {}
    series = (await forecast(feed, client, answer)).series
    assert np.isnan(series.wind_m_s).tolist() == [False, True, False, False]
    assert np.isnan(series.rain_mm_h).tolist() == [False, False, True, False]


async def test_units_are_read_from_the_answer(feed, client) -> None:
    answer = body()
    answer["properties"]["meta"]["units"] = UNITS | {"wind_speed": "km/h"}
    assert (await forecast(feed, client, answer)).series.wind_m_s[0] == pytest.approx(3 / 3.6)
    answer["properties"]["meta"]["units"] = UNITS | {"wind_speed": "celsius"}
    with pytest.raises(SourceError, match="degC"):
        await forecast(feed, client, answer)


@pytest.mark.parametrize(
    ("updated_at", "now"),
    [("2026-06-11T14:00:00Z", NOW), ("2026-06-12T18:00:00Z", NOW)],
    ids=["a day old", "from the future"],
)
async def test_an_issue_of_another_day_is_an_error(feed, client, updated_at, now) -> None:
    answer = body()
    answer["properties"]["meta"]["updated_at"] = updated_at
    with pytest.raises(SourceError, match="issued"):
        await forecast(feed, client, answer, now)


async def test_a_forecast_that_is_over_is_an_error(feed, client) -> None:
    with pytest.raises(SourceError, match="over already"):
        await forecast(feed, client, body(), now=NOW + 5 * 3600)


async def test_a_forecast_of_six_hourly_steps_only_is_an_error(feed, client) -> None:
    with pytest.raises(SourceError, match="over already"):
        await forecast(feed, client, body([step(h, hourly=False) for h in (0, 6, 12)]))


async def test_another_places_forecast_is_refused(feed, client) -> None:
    answer = body() | {"geometry": {"type": "Point", "coordinates": [10.0, 61.1, 150]}}
    with pytest.raises(SourceError, match="it is for"):
        await forecast(feed, client, answer)


async def test_the_html_of_a_bad_request_is_an_error(feed, client) -> None:
    with pytest.raises(StatusError, match=r"400.*text/html"):
        await forecast(feed, client, httpx.Response(400, html="<h1>Bad Request</h1>"))


async def test_a_deprecated_product_is_still_read_and_logged(feed, client) -> None:
    with capture_logs() as logs:
        given = await forecast(feed, client, httpx.Response(203, json=body()))
    assert len(given.series) == 4
    assert any("deprecated" in log["event"] for log in logs)


async def test_it_asks_with_four_decimals_and_waits_for_expiry(
    respx_mock: respx.MockRouter,
) -> None:
    headers = {"Cache-Control": "max-age=1800", "Last-Modified": "Fri, 12 Jun 2026 14:20:44 GMT"}
    url = "https://met.example/2.0/complete"
    route = respx_mock.get(url).respond(json=body(), headers=headers)
    async with FeedClient(contact="a@b.example") as client:
        asking = MetNorwayFeed(
            name="met",
            client=client,
            latitude=60.123456,
            longitude=9.999999,
            elevation_m=149.6,
            base_url="https://met.example/2.0",
        )
        first, second = await asking.poll(NOW), await asking.poll(NOW)
    assert dict(route.calls[0].request.url.params) == {
        "lat": "60.1235",
        "lon": "10.0",
        "altitude": "150",
    }
    assert len(route.calls) == 1
    assert first.forecast is not None
    assert second.forecast is not None
    assert second.forecast.issued_at == first.forecast.issued_at


@pytest.mark.long
async def test_any_broken_body_is_an_error_or_tells_only_what_it_held(
    feed, client, survives
) -> None:
    await survives(
        source(client),
        lambda wrong: feed.bodies.update({"/complete": wrong}),
        body(),
        NOW,
        lambda polled: polled.forecast.series,
    )


@pytest.mark.parametrize(
    "name",
    [
        "lat39.9lon116.4altitudeNone_compact.json",
        "lat40.7lon-74.0altitude10_compact.json",
        "lat51.5lon-0.1altitude25_complete.json",
    ],
)
def test_recorded_answers_are_read(shared: Path, name: str) -> None:
    found = json.loads((shared / "feeds" / "metno" / name).read_text())["data"]
    longitude, latitude, altitude = found["geometry"]["coordinates"]
    issued_at, series = forecast_of(found, source="met", place=(latitude, longitude))
    assert issued_at == int(datetime(2020, 7, 20, 1, 30, 57, tzinfo=UTC).timestamp())
    assert series.site.elevation_m == altitude
    steps = found["properties"]["timeseries"]
    hourly = [s for s in steps if "next_1_hours" in s["data"]]
    assert len(hourly) - 1 <= len(series) <= len(hourly)
    winds = [s["data"]["instant"]["details"]["wind_speed"] for s in steps[: len(series)]]
    np.testing.assert_allclose(series.wind_m_s, winds)
    rain = [
        s["data"]["next_1_hours"]["details"]["precipitation_amount"] for s in steps[: len(series)]
    ]
    np.testing.assert_allclose(series.rain_mm_h, rain)
    assert np.isnan(series.gust_m_s).all()
    assert np.isfinite(series.dew_point_c).all() == ("complete" in name)


def test_the_recorded_nordic_excerpt_has_no_two_steps_an_hour_apart(shared: Path) -> None:
    path = shared / "feeds" / "metno" / "lat60lon10_complete_short_2024-03-08.json"
    _, series = forecast_of(json.loads(path.read_text()), source="met", place=(60.0, 10.0))
    assert len(series) == 0


async def test_values_are_kept_as_they_were_given_with_run_and_interval(feed, client) -> None:
    got = await forecast(feed, client, body())
    given = {each.quantity: each for each in got.given}
    assert (given["wind_m_s"].statistic, set(given["wind_m_s"].intervals)) == ("mean", {600})
    assert (given["rain_mm_h"].statistic, set(given["rain_mm_h"].intervals)) == ("sum", {3600})
    assert len(given["wind_m_s"].starts) == len(body()["properties"]["timeseries"])
    assert got.run_at == got.issued_at
