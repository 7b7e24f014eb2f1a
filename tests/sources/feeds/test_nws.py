"""api.weather.gov: the documented shapes, their pitfalls, and recorded bodies."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import respx
from structlog.testing import capture_logs

from watcher.sources.base import Flag, Polled, SourceError
from watcher.sources.feeds.nws import UsWeatherServiceFeed
from watcher.sources.feeds.nws_bodies import grid_forecast, station_observations
from watcher.sources.http import FeedClient

HOUR = datetime(2026, 6, 12, 14, tzinfo=UTC)
NOW = int(HOUR.timestamp()) + 1200
PLACE = (41.212, -96.623)


def interval(hour: int, duration: str, value: float | None) -> dict[str, Any]:
    return {"validTime": f"{(HOUR + timedelta(hours=hour)).isoformat()}/{duration}", "value": value}


def layer(uom: str, *values: dict[str, Any]) -> dict[str, Any]:
    return {"uom": f"wmoUnit:{uom}", "values": list(values)}


def points(x: int = 59) -> dict[str, Any]:
    return {
        "properties": {
            "gridId": "OAX",
            "gridX": x,
            "gridY": 58,
            "forecastGridData": f"https://api.weather.gov/gridpoints/OAX/{x},58",
        }
    }


def grid() -> dict[str, Any]:
    corners = [[-96.63, 41.20], [-96.63, 41.22], [-96.61, 41.22], [-96.61, 41.20], [-96.63, 41.20]]
    return {
        "type": "Feature",
        "geometry": {"type": "Polygon", "coordinates": [corners]},
        "properties": {
            "updateTime": "2026-06-12T12:18:00+00:00",
            "validTimes": "2026-06-12T12:00:00+00:00/P7DT4H",
            "elevation": {"unitCode": "wmoUnit:m", "value": 367.9},
            "windSpeed": layer(
                "km_h-1", interval(-2, "PT4H", 18), interval(2, "PT1H", 36), interval(3, "P1D", 9)
            ),
            "windGust": layer("km_h-1", interval(1, "PT2H", 45), interval(3, "PT1H", None)),
            "windDirection": layer("degree_(angle)", interval(-2, "P1DT1H", 200)),
            "temperature": layer("degC", interval(-2, "PT3H", 20), interval(1, "PT2H", 22.5)),
            "dewpoint": layer("degC", interval(-2, "PT30M", 10)),
            "relativeHumidity": layer("percent", interval(0, "PT3H", 55)),
            "skyCover": {"values": []},
            "quantitativePrecipitation": layer("mm", interval(0, "PT6H", 1.5)),
            "probabilityOfPrecipitation": layer("percent", interval(0, "PT6H", 30)),
            "mixingHeight": layer("m", interval(0, "PT6H", 900)),
            "dispersionIndex": {"values": [interval(0, "PT6H", 40)]},
        },
    }


def quantity(value: float | None, unit: str, letter: str = "V") -> dict[str, Any]:
    return {"unitCode": f"wmoUnit:{unit}", "value": value, "qualityControl": letter}


def report(minutes_ago: int, **changes: Any) -> dict[str, Any]:
    properties = {
        "timestamp": datetime.fromtimestamp(NOW - 60 * minutes_ago, UTC).isoformat(),
        "elevation": {"unitCode": "wmoUnit:m", "value": 374},
        "rawMessage": "",
        "windSpeed": quantity(9.36, "km_h-1"),
        "windGust": quantity(None, "km_h-1", "Z"),
        "windDirection": quantity(320, "degree_(angle)"),
        "temperature": quantity(18.5, "degC"),
        "dewpoint": quantity(9.5, "degC"),
        "relativeHumidity": quantity(55.5, "percent"),
        "barometricPressure": quantity(101190, "Pa"),
        "seaLevelPressure": quantity(100780, "Pa"),
        "precipitationLastHour": quantity(2, "mm", "C"),
    }
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-96.6, 41.23]},
        "properties": properties | changes,
    }


def reports(*features: dict[str, Any]) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features)}


def source(client: FeedClient, station: str | None = None, **more: Any) -> UsWeatherServiceFeed:
    return UsWeatherServiceFeed(
        name="us",
        client=client,
        latitude=PLACE[0],
        longitude=PLACE[1],
        station=station,
        **more,
    )


async def polled(
    feed, client, *, now: int = NOW, station: str | None = None, **bodies: Any
) -> Polled:
    feed.bodies = {"/points/41.212,-96.623": points()}
    feed.bodies["/observations"] = bodies.get("observations", reports(report(5)))
    feed.bodies["/gridpoints/OAX/59,58"] = bodies.get("gridpoints", grid())
    return await source(client, station).poll(now)


async def gridded(feed, client, **layers: Any):
    body = grid()
    body["properties"] |= layers
    given = (await polled(feed, client, gridpoints=body)).forecast
    assert given is not None
    return given.series


def at(series: Any, hour: int, name: str) -> float:
    index = np.flatnonzero(series.times == HOUR.timestamp() + 3600 * hour)
    return float(getattr(series, name)[index[0]])


class TestGrid:
    async def test_merged_hours_are_told_apart_again(self, feed, client) -> None:
        series = await gridded(feed, client)
        winds = [at(series, hour, "wind_m_s") for hour in range(-2, 6)]
        assert winds == pytest.approx([5, 5, 5, 5, 10, 2.5, 2.5, 2.5])  # km/h / 3.6
        assert at(series, 22, "wind_from_deg") == 200

    async def test_a_layer_says_nothing_outside_its_intervals(self, feed, client) -> None:
        series = await gridded(feed, client)
        assert np.isnan(at(series, 3, "temp_c"))
        assert np.isnan(at(series, -1, "humidity_pct"))
        assert np.isnan(at(series, -1, "dew_point_c"))  # PT30M from 12:00
        assert at(series, 2, "temp_c") == 22.5

    async def test_an_absent_layer_without_unit_is_missing(self, feed, client) -> None:
        assert np.isnan((await gridded(feed, client)).cloud_pct).all()

    async def test_a_null_gust_and_hours_without_one_are_unknown(self, feed, client) -> None:
        series = await gridded(feed, client)
        assert at(series, 1, "gust_m_s") == pytest.approx(12.5)
        assert np.isnan(at(series, 0, "gust_m_s"))
        assert np.isnan(at(series, 3, "gust_m_s"))

    async def test_rain_for_six_hours_may_all_fall_in_any_of_them(self, feed, client) -> None:
        series = await gridded(feed, client)
        assert [at(series, hour, "rain_mm_h") for hour in range(6)] == pytest.approx([0.25] * 6)
        first = int(np.flatnonzero(series.times == HOUR.timestamp())[0])
        least, most = (side[first : first + 6] for side in series.bound("rain_mm_h"))
        assert (least.tolist(), most.tolist()) == ([0.0] * 6, pytest.approx([1.5] * 6))
        half = layer("mm", interval(0, "PT30M", 1.5))
        series = await gridded(feed, client, quantitativePrecipitation=half)
        assert at(series, 0, "rain_mm_h") == pytest.approx(3.0)

    async def test_a_value_that_begins_between_hours_is_not_lost(self, feed, client) -> None:
        late = layer("km_h-1", interval(0, "PT1H", 18))
        late["values"].append({"validTime": "2026-06-12T15:30:00+00:00/PT1H", "value": 72})
        series = await gridded(feed, client, windSpeed=late)
        assert at(series, 1, "temp_c") == 22.5
        half_past = int(np.flatnonzero(series.times == HOUR.timestamp() + 5400)[0])
        assert series.wind_m_s[half_past] == pytest.approx(20)
        assert series.temp_c[half_past] == 22.5

    async def test_of_overlapping_intervals_the_later_begun_one_counts(self, feed, client) -> None:
        both = layer("km_h-1", interval(0, "PT3H", 18), interval(1, "PT1H", 36))
        series = await gridded(feed, client, windSpeed=both)
        assert at(series, 0, "wind_m_s") == pytest.approx(5)
        assert at(series, 1, "wind_m_s") == pytest.approx(10)
        assert np.isnan(at(series, 2, "wind_m_s"))

    @pytest.mark.parametrize(
        ("uom", "m_s"),
        [("wmoUnit:m_s-1", 1.0), ("unit:m_s-1", 1.0), ("unit:km_h-1", 1 / 3.6)],
    )
    async def test_units_are_always_read(self, feed, client, uom: str, m_s: float) -> None:
        wind = {"uom": uom, "values": [interval(0, "PT3H", 9)]}
        series = await gridded(feed, client, windSpeed=wind)
        assert at(series, 0, "wind_m_s") == pytest.approx(9 * m_s)

    @pytest.mark.parametrize(
        "wind",
        [
            {"values": [interval(0, "PT3H", 9)]},
            layer("degC", interval(0, "PT3H", 9)),
            layer("km_h-1", interval(0, "P1M", 9)),
            layer("km_h-1", interval(0, "P1Y", 9)),
            layer("km_h-1", interval(0, "PT0H", 9)),
            layer("km_h-1", interval(0, "", 9)),
            layer("km_h-1", {"validTime": "2026-06-12T15:30:00/PT1H", "value": 1}),
        ],
        ids=["no unit", "another unit", "month", "year", "nothing", "no length", "no zone"],
    )
    async def test_an_odd_layer_refuses_the_grid(self, feed, client, wind) -> None:
        with pytest.raises(SourceError, match="cannot be read"):
            await gridded(feed, client, windSpeed=wind)

    async def test_place_issue_and_terms_come_from_the_feed(self, feed, client) -> None:
        given = (await polled(feed, client)).forecast
        assert given is not None
        site = given.series.site
        assert (site.latitude, site.longitude) == pytest.approx((41.21, -96.62))
        assert (site.elevation_m, site.wind_height_m) == (367.9, 10.0)
        assert given.issued_at == int(datetime(2026, 6, 12, 12, 18, tzinfo=UTC).timestamp())
        assert "public domain" in given.attribution

    async def test_an_old_copy_served_as_if_it_were_new_is_an_error(self, feed, client) -> None:
        body = grid()
        body["properties"]["updateTime"] = "2026-06-11T12:18:00+00:00"
        with pytest.raises(SourceError, match="issued"):
            await polled(feed, client, gridpoints=body)
        with pytest.raises(SourceError, match="over already"):
            await polled(feed, client, now=NOW + 40 * 3600)

    async def test_an_unknown_elevation_is_unknown(self, feed, client) -> None:
        body = grid()
        del body["properties"]["elevation"]
        given = (await polled(feed, client, gridpoints=body)).forecast
        assert given is not None
        assert np.isnan(given.series.site.elevation_m)

    @pytest.mark.long
    async def test_any_broken_grid_is_an_error_or_tells_only_what_it_held(
        self, feed, client, survives
    ) -> None:
        feed.bodies["/points/41.212,-96.623"] = points()
        await survives(
            source(client),
            lambda wrong: feed.bodies.update({"/gridpoints/OAX/59,58": wrong}),
            grid(),
            NOW,
            lambda polled: polled.forecast.series,
        )


class TestCell:
    async def test_it_is_looked_up_once_a_day(self, feed, client) -> None:
        feed.bodies = {"/points/41.212,-96.623": points(), "/gridpoints/OAX/59,58": grid()}
        asking = source(client)
        for now in (NOW, NOW + 600, NOW + 1200):
            await asking.poll(now)
        paths = [request.url.path for request in feed.asked]
        assert paths == ["/points/41.212,-96.623", *["/gridpoints/OAX/59,58"] * 3]
        with pytest.raises(SourceError):  # the body is a day old by then
            await asking.poll(NOW + 86_400)
        assert [request.url.path for request in feed.asked].count(paths[0]) == 2

    async def test_it_is_looked_up_again_when_it_is_gone(self, feed, client) -> None:
        feed.bodies = {"/points/41.212,-96.623": points(), "/gridpoints/OAX/59,58": grid()}
        asking = source(client)
        await asking.poll(NOW)
        feed.bodies = {"/points/41.212,-96.623": points(60), "/gridpoints/OAX/60,58": grid()}
        with capture_logs() as logs:
            assert (await asking.poll(NOW + 60)).forecast is not None
        assert [log["cell"] for log in logs] == ["gridpoints/OAX/60,58"]

    async def test_one_that_stays_gone_is_an_error(self, feed, client) -> None:
        feed.bodies = {"/points/41.212,-96.623": points()}
        with pytest.raises(SourceError, match="404"):
            await source(client).poll(NOW)

    async def test_one_that_has_become_another_place_is_refused(self, feed, client) -> None:
        body = grid()
        for corner in body["geometry"]["coordinates"][0]:
            corner[1] += 1
        with pytest.raises(SourceError, match="grid cell is at"):
            await polled(feed, client, gridpoints=body)

    @pytest.mark.long
    async def test_any_broken_point_is_an_error_or_leads_to_the_cell(
        self, feed, client, survives
    ) -> None:
        body = {"properties": {"gridId": "OAX", "gridX": 59, "gridY": 58}}
        feed.bodies["/gridpoints/OAX/59,58"] = grid()

        class AskedAnew:
            """A new source each time, so that the cell is looked up each time."""

            async def poll(self, now: int) -> Polled:
                return await source(client).poll(now)

        await survives(
            AskedAnew(),
            lambda wrong: feed.bodies.update({"/points/41.212,-96.623": wrong}),
            body,
            NOW,
            lambda polled: polled.forecast.series,
        )


class TestStation:
    async def observed(self, feed, client, *features: dict[str, Any]):
        given = await polled(feed, client, station="KAHQ", observations=reports(*features))
        assert given.observations is not None
        return given.observations

    async def test_a_report_comes_out_in_si(self, feed, client) -> None:
        given = await self.observed(feed, client, report(5))
        series, site = given.series, given.series.site
        assert series.times.tolist() == [NOW - 300]
        assert series.wind_m_s[0] == pytest.approx(2.6)
        assert series.wind_from_deg[0] == 320
        assert (series.temp_c[0], series.dew_point_c[0]) == (18.5, 9.5)
        assert series.humidity_pct[0] == pytest.approx(55.5)
        assert (site.latitude, site.longitude, site.elevation_m) == (41.23, -96.6, 374.0)
        assert given.flags == {}

    async def test_a_null_gust_is_unknown_not_zero(self, feed, client) -> None:
        given = await self.observed(feed, client, report(5))
        assert np.isnan(given.series.gust_m_s[0])

    async def test_the_altimeter_setting_is_not_taken_for_station_pressure(
        self, feed, client
    ) -> None:
        given = await self.observed(feed, client, report(5))
        assert np.isnan(given.series.pressure_pa).all()

    async def test_each_report_keeps_its_own_time_and_gaps(self, feed, client) -> None:
        none = quantity(None, "km_h-1", "Z")
        given = await self.observed(feed, client, report(5, windSpeed=none), report(10), report(15))
        assert given.series.times.tolist() == [NOW - 900, NOW - 600, NOW - 300]
        assert np.isnan(given.series.wind_m_s).tolist() == [False, False, True]
        assert np.isfinite(given.series.temp_c).all()

    async def test_a_report_sent_again_fills_the_gaps_of_the_first(self, feed, client) -> None:
        first = report(5, temperature=quantity(None, "degC", "Z"))
        given = await self.observed(
            feed, client, first, report(5, windSpeed=quantity(72, "km_h-1"))
        )
        assert given.series.temp_c.tolist() == [18.5]
        assert given.series.wind_m_s.tolist() == pytest.approx([2.6])

    @pytest.mark.parametrize("letter", ["X", "Q", "B", "qc:X"])
    async def test_a_value_the_feed_doubts_is_flagged(self, feed, client, letter: str) -> None:
        given = await self.observed(
            feed, client, report(5, windSpeed=quantity(9, "km_h-1", letter)), report(10)
        )
        assert given.flags["wind_m_s"].tolist() == [Flag.GOOD, Flag.SUSPECT_SOURCE]
        assert set(given.flags) == {"wind_m_s"}
        assert given.series.wind_m_s[1] == pytest.approx(2.5)

    @pytest.mark.parametrize("letter", ["Z", "C", "S", "V", "G", "T", "qc:V", ""])
    async def test_a_value_the_feed_passes_is_not(self, feed, client, letter: str) -> None:
        given = await self.observed(
            feed, client, report(5, windSpeed=quantity(9, "km_h-1", letter))
        )
        assert given.flags == {}

    async def test_a_report_from_the_future_is_flagged(self, feed, client) -> None:
        given = await self.observed(feed, client, report(-3), report(5))
        assert given.flags["wind_m_s"].tolist() == [Flag.GOOD, Flag.FUTURE]
        assert np.isnan(given.usable().temp_c[1])

    async def test_reports_of_half_a_day_ago_are_dropped(self, feed, client) -> None:
        given = await self.observed(feed, client, report(5), report(400))
        assert len(given.series) == 1

    @pytest.mark.parametrize("features", [[], None, [report(400)]])
    async def test_no_report_at_all_is_told(self, feed, client, features) -> None:
        body = {"type": "FeatureCollection", "features": features}
        feed.bodies = {"/observations": body}
        with pytest.raises(SourceError, match="no report of the last 6 h"):
            await source(client, "KAHQ").poll(NOW)

    async def test_old_prefixes_and_units_are_read(self, feed, client) -> None:
        old = report(
            5,
            windSpeed={"unitCode": "unit:m_s-1", "value": 10, "qualityControl": "qc:V"},
            temperature={"unitCode": "unit:degF", "value": 50, "qualityControl": "qc:V"},
        )
        given = await self.observed(feed, client, old)
        assert given.series.wind_m_s[0] == pytest.approx(10)
        assert given.series.temp_c[0] == pytest.approx(10)

    @pytest.mark.long
    async def test_any_broken_report_is_an_error_or_tells_only_what_it_held(
        self, feed, client, survives
    ) -> None:
        await survives(
            source(client, "KAHQ"),  # no grid is there: its half fails
            lambda wrong: feed.bodies.update({"/observations": wrong}),
            reports(report(5, windGust=quantity(20, "km_h-1")), report(10)),
            NOW,
            lambda polled: polled.observations.series,
        )


class TestHalves:
    async def test_a_failed_forecast_does_not_lose_the_observations(self, feed, client) -> None:
        feed.bodies = {"/observations": reports(report(5))}
        with capture_logs() as logs:
            given = await source(client, "KAHQ").poll(NOW)
        assert given.observations is not None
        assert given.forecast is None
        assert any(log["log_level"] == "warning" and "404" in log["why"] for log in logs)

    async def test_failed_observations_do_not_lose_the_forecast(self, feed, client) -> None:
        gone = httpx.Response(404, json={})
        given = await polled(feed, client, station="KAHQ", observations=gone)
        assert (given.observations, given.forecast is None) == (None, False)

    async def test_when_both_fail_both_are_told(self, feed, client) -> None:
        with pytest.raises(SourceError, match=r"points.*observations"):
            await source(client, "KAHQ").poll(NOW)


async def test_it_asks_for_geojson_with_short_coordinates(respx_mock: respx.MockRouter) -> None:
    base = "https://weather.example"
    point = respx_mock.get(f"{base}/points/41.2,-96.6235").respond(
        301, headers={"location": f"{base}/points/41.2,-96.62"}
    )
    respx_mock.get(f"{base}/points/41.2,-96.62").respond(json=points())
    cell = respx_mock.get(f"{base}/gridpoints/OAX/59,58").respond(json=grid())
    async with FeedClient(contact="a@b.example") as client:
        asking = UsWeatherServiceFeed(
            name="us", client=client, latitude=41.2, longitude=-96.62351, base_url=base
        )
        await asking.poll(NOW)
    for route in (point, cell):
        assert route.calls[0].request.headers["accept"] == "application/geo+json"
        assert not route.calls[0].request.url.query


async def test_a_problem_is_told_in_the_feeds_words(feed, client) -> None:
    body = {
        "type": "https://api.weather.gov/problems/InvalidPoint",
        "title": "Data Unavailable For Requested Point",
        "status": 404,
        "detail": "Unable to provide data for requested point 1,2",
    }
    feed.bodies = {"/points/41.212,-96.623": httpx.Response(404, json=body)}
    with pytest.raises(SourceError, match="Unable to provide data"):
        await source(client).poll(NOW)


def recorded(shared: Path, *parts: str) -> Any:
    return json.loads(shared.joinpath("feeds", "nws", *parts).read_text())


RECORDED_AT = int(datetime(2026, 6, 12, 13, 40, tzinfo=UTC).timestamp())


def by_hand(values: list[dict[str, Any]], time: int) -> float:
    """The value of the last listed interval that covers a time, read the slow way."""
    found = np.nan
    for each in values:
        start, _, length = each["validTime"].partition("/P")
        days, _, rest = length.rpartition("T") if "T" in length else (length, "", "")
        hours = int(days.rstrip("D") or 0) * 24 + int(rest.rstrip("H") or 0)
        begin = datetime.fromisoformat(start).timestamp()
        if begin <= time < begin + hours * 3600 and each["value"] is not None:
            found = each["value"]
    return found


@pytest.mark.parametrize("cell", ["AFG_368_294", "LWX_95_71", "MPX_1_1", "OAX_59_58"])
def test_recorded_grids_are_read_hour_by_hour(shared: Path, cell: str) -> None:
    body = recorded(shared, "rendered", f"gridpoints__{cell}.json")
    corners = body["geometry"]["coordinates"][0]
    place = corners[0][1], corners[0][0]
    _, series = grid_forecast(body, source="us", place=place, elevation_m=0.0, now=RECORDED_AT)
    layers = body["properties"]
    assert series.site.elevation_m == layers["elevation"]["value"]
    for name, key, factor in [
        ("wind_m_s", "windSpeed", 1 / 3.6),
        ("gust_m_s", "windGust", 1 / 3.6),
        ("temp_c", "temperature", 1.0),
        ("humidity_pct", "relativeHumidity", 1.0),
        ("rain_chance_pct", "probabilityOfPrecipitation", 1.0),
    ]:
        expected = [by_hand(layers[key]["values"], int(time)) * factor for time in series.times]
        np.testing.assert_allclose(getattr(series, name), expected, err_msg=f"{cell} {key}")
    gusty = np.isfinite(series.gust_m_s) & np.isfinite(series.wind_m_s)
    assert (series.gust_m_s[gusty] >= series.wind_m_s[gusty] - 1e-9).all()


def test_a_recorded_grid_with_true_times_is_read(shared: Path) -> None:
    body = recorded(shared, "pynws", "detailed_forecast.json")
    now = int(datetime(2022, 2, 4, 3, 30, tzinfo=UTC).timestamp())
    issued_at, series = grid_forecast(
        body, source="us", place=(30.02, -84.98), elevation_m=0.0, now=now
    )
    assert issued_at == int(datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC).timestamp())
    assert series.wind_m_s[0] == pytest.approx(20.372 / 3.6)
    assert series.times[0] == int(datetime(2022, 2, 3, 21, tzinfo=UTC).timestamp())


def observed(body: Any, now: int = RECORDED_AT, oldest: int = 0):
    return station_observations(
        body,
        source="us",
        place=(40.0, -100.0),
        elevation_m=0.0,
        wind_height_m=10.0,
        oldest=oldest,
        now=now,
    )


IN_RAW = {
    "observations__PHNL.json": 7 * 1852 / 3600,  # 32007KT
    "observations__KINW.json": 14 * 1852 / 3600,  # 20014G22KT
}
"""Winds that only the raw report has."""


def test_recorded_observations_are_all_read(shared: Path) -> None:
    paths = sorted((shared / "feeds" / "nws" / "rendered").glob("observations__*.json"))
    assert len(paths) == 20
    for path in paths:
        body = json.loads(path.read_text())
        given = observed(body)
        assert len(given.series) == len(body["features"] or [])
        for feature in body["features"] or []:
            speed = feature["properties"]["windSpeed"]["value"]
            expected = IN_RAW.get(path.name, np.nan) if speed is None else speed / 3.6
            np.testing.assert_allclose(given.series.wind_m_s, [expected], err_msg=path.name)


def test_without_a_gust_group_a_recorded_gust_lies_within_the_rules_of_its_report(
    shared: Path,
) -> None:
    """FMH-1, 5.4.4: a gust is told from ten knots over the lulls on (from memory)."""
    for name, speed in (("PHNL", 7 * 1852 / 3600), ("KAHQ", 9.36 / 3.6), ("KALB", 22.212 / 3.6)):
        series = observed(recorded(shared, "rendered", f"observations__{name}.json")).usable()
        least, most = (float(side[0]) for side in series.bound("gust_m_s"))
        assert np.isnan(series.gust_m_s[0])
        # 32005KT and 9.36 km/h are the same wind: the raw one is in whole knots.
        assert (least, most) == pytest.approx((speed, speed + 10 * 1852 / 3600), abs=0.06)
    given = observed(recorded(shared, "rendered", "observations__KINW.json"))
    assert given.series.gust_m_s[0] == pytest.approx(22 * 1852 / 3600)
    for mesonet in ("SEAW1", "OAMC1"):
        given = observed(recorded(shared, "rendered", f"observations__{mesonet}.json"))
        assert np.isnan(given.series.bound("gust_m_s")[1]).all()


def test_a_doubted_wind_tells_nothing_of_the_gust(shared: Path) -> None:
    body = recorded(shared, "rendered", "observations__KALB.json")
    body["features"][0]["properties"]["windSpeed"]["qualityControl"] = "X"
    assert "gust_m_s" not in observed(body).usable().bounds


def test_the_recorded_altimeter_setting_shows_why_it_is_not_read(shared: Path) -> None:
    """At 1726 m the station pressure is near 823 hPa (FAO-56 eq. 7), not 1012."""
    body = recorded(shared, "rendered", "observations__KBKF.json")
    found = body["features"][0]["properties"]
    assert found["barometricPressure"]["value"] == 101190
    assert "A2988" in found["rawMessage"]  # 29.88 inHg = 1011.9 hPa
    assert np.isnan(observed(body).series.pressure_pa).all()


def test_older_recorded_bodies_are_read_or_refused(shared: Path) -> None:
    given = observed(recorded(shared, "pynws", "stations_observations_alternate_units.json"))
    assert given.series.temp_c[0] == pytest.approx((10 - 32) / 1.8)
    for name in ("strings", "missing_value"):
        with pytest.raises(ValueError, match=r"timestamp|number"):
            observed(recorded(shared, "pynws", f"stations_observations_{name}.json"))


async def test_layers_are_kept_interval_by_interval_as_they_were_given(feed, client) -> None:
    got = (await polled(feed, client, gridpoints=grid())).forecast
    assert got is not None
    given = {each.quantity: each for each in got.given}
    rain, gust = given["rain_mm_h"], given["gust_m_s"]
    assert (rain.statistic, gust.statistic) == ("sum", "maximum")
    assert (rain.values[0], rain.intervals[0]) == (1.5, 6 * 3600)
    assert got.run_at == got.issued_at
