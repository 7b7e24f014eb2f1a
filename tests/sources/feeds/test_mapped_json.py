"""Any JSON, mapped: aligned or refused, in SI, never silently good."""

from typing import Any

import numpy as np
import pytest

from watcher.sources.base import Flag, Polled, SourceError
from watcher.sources.feeds.mapped_json import MappedJsonFeed
from watcher.sources.http import FeedClient
from watcher.weather.series import Site

NOW = 1_781_272_800  # 2026-06-12T14:00:00Z
SITE = Site(latitude=41.2, longitude=-96.6, elevation_m=350.0, wind_height_m=3.0)
URL = "https://stations.example/api/obs?token=hush"


def observations() -> dict[str, Any]:
    return {
        "station": "S1",
        "rows": [
            {"at": "2026-06-12T13:50:00Z", "wind": 7.2, "gust": None, "t": 68.0, "p": 970.0},
            {"at": "2026-06-12T08:45:00-05:00", "wind": 3.6, "gust": 18.0, "t": 50.0, "p": 971.0},
        ],
    }


def forecast() -> dict[str, Any]:
    times = [NOW - 3600, NOW, NOW + 3600]
    return {"run": NOW - 7200, "hours": {"time": times, "rain": [0.0, 0.5, None]}}


def station(client: FeedClient, **more: Any) -> MappedJsonFeed:
    found: dict[str, Any] = {
        "name": "mapped",
        "client": client,
        "url": URL,
        "gives": "observations",
        "times": "rows[].at",
        "quantities": {
            "wind": ("map(&wind, rows)", "km/h"),
            "gust": ("map(&gust, rows)", "km/h"),
            "temperature": ("map(&t, rows)", "degF"),
            "pressure": ("map(&p, rows)", "hPa"),
        },
        "site": SITE,
        "every_s": 600.0,
    }
    return MappedJsonFeed(**found | more)


def model(client: FeedClient, **more: Any) -> MappedJsonFeed:
    given: dict[str, Any] = {
        "gives": "forecast",
        "times": "hours.time",
        "quantities": {"rain": ("hours.rain", "mm/h")},
        "issued": "run",
        "attribution": "Data from a model, CC BY 4.0",
    }
    return station(client, **given | more)


async def polled(feed, source: MappedJsonFeed, body: Any, now: int = NOW) -> Polled:
    feed.bodies["/obs"] = body
    return await source.poll(now)


async def test_observations_come_out_sorted_and_in_si(feed, client) -> None:
    given = (await polled(feed, station(client), observations())).observations
    assert given is not None
    series = given.series
    assert series.times.tolist() == [NOW - 900, NOW - 600]
    assert series.wind_m_s.tolist() == pytest.approx([1, 2])
    assert series.gust_m_s[0] == pytest.approx(5)
    assert np.isnan(series.gust_m_s[1])
    assert series.temp_c.tolist() == pytest.approx([10, 20])
    assert series.pressure_pa.tolist() == pytest.approx([97100, 97000])
    assert series.site == SITE
    assert given.flags == {}


async def test_a_forecast_has_its_issue_time_and_attribution(feed, client) -> None:
    given = (await polled(feed, model(client), forecast())).forecast
    assert given is not None
    assert (given.issued_at, given.fetched_at) == (NOW - 7200, NOW)
    assert given.attribution == "Data from a model, CC BY 4.0"
    assert given.series.rain_mm_h[:2].tolist() == [0.0, 0.5]


async def test_a_forecast_that_does_not_tell_counts_as_issued_when_fetched(feed, client) -> None:
    given = (await polled(feed, model(client, issued=None), forecast())).forecast
    assert given is not None
    assert given.issued_at == NOW


async def test_a_single_reading_need_not_be_a_list(feed, client) -> None:
    single = station(client, times="at", quantities={"wind": ("w", "m/s")})
    given = (await polled(feed, single, {"at": NOW - 60, "w": 3})).observations
    assert given is not None
    assert given.series.wind_m_s.tolist() == [3.0]


async def test_a_projection_that_dropped_a_null_is_refused_not_moved_up(feed, client) -> None:
    dropping = station(client, quantities={"gust": ("rows[].gust", "km/h")})
    with pytest.raises(SourceError, match=r"1 values for 2 times.*map"):
        await polled(feed, dropping, observations())


@pytest.mark.parametrize(
    "change",
    [
        {"at": "2026-06-12T13:50:00"},
        {"at": NOW * 100},
        {"at": None},
        {"at": "2026-06-12T08:45:00-05:00"},
        {"wind": "7.2"},
        {"wind": True},
        {"wind": [7.2]},
    ],
    ids=["no zone", "hundredths", "null", "twice", "text", "true", "list"],
)
async def test_a_row_that_cannot_be_read_is_an_error(feed, client, change) -> None:
    body = observations()
    body["rows"][0] |= change
    with pytest.raises(SourceError, match=r"stations\.example") as found:
        await polled(feed, station(client), body)
    assert "hush" not in str(found.value)


async def test_observations_from_the_future_are_flagged(feed, client) -> None:
    given = (await polled(feed, station(client), observations(), NOW - 721)).observations
    assert given is not None
    assert given.flags["wind_m_s"].tolist() == [Flag.GOOD, Flag.FUTURE]


@pytest.mark.parametrize("body", [{"rows": []}, observations()], ids=["none", "of yesterday"])
async def test_no_observation_of_today_is_an_error(feed, client, body) -> None:
    with pytest.raises(SourceError, match="no observation of the last 24 h"):
        await polled(feed, station(client), body, NOW + 86_400)


async def test_an_old_or_ended_forecast_is_an_error(feed, client) -> None:
    with pytest.raises(SourceError, match="issued"):
        await polled(feed, model(client), forecast() | {"run": NOW - 86_401})
    with pytest.raises(SourceError, match="over already"):
        await polled(feed, model(client), forecast(), NOW + 7200)


async def test_a_missing_issue_time_is_an_error(feed, client) -> None:
    with pytest.raises(SourceError, match="epoch seconds"):
        await polled(feed, model(client), {"hours": forecast()["hours"]})


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"times": "rows["}, "times"),
        ({"issued": "]"}, "issued"),
        ({"quantities": {"wind": ("rows[", "m/s")}}, "quantities.wind.at"),
        ({"quantities": {"wind": ("w", "degC")}}, "quantities.wind.unit"),
        ({"quantities": {"wnd": ("w", "m/s")}}, "quantities.wnd"),
    ],
)
def test_a_mapping_that_cannot_be_is_told_at_once(change: dict[str, Any], word: str) -> None:
    with pytest.raises(ValueError, match=word.replace(".", r"\.")):
        station(FeedClient(contact="a@b.example"), **change)


async def test_a_function_given_the_wrong_thing_is_a_source_error(feed, client) -> None:
    summing = station(client, times="map(&sum(at), rows)")
    with pytest.raises(SourceError, match="cannot be read"):
        await polled(feed, summing, observations())


@pytest.mark.long
async def test_any_broken_observations_are_an_error_or_tell_only_what_they_held(
    feed, client, survives
) -> None:
    await survives(
        station(client),
        lambda wrong: feed.bodies.update({"/obs": wrong}),
        observations(),
        NOW,
        lambda polled: polled.observations.series,
    )


@pytest.mark.long
async def test_any_broken_forecast_is_an_error_or_tells_only_what_it_held(
    feed, client, survives
) -> None:
    await survives(
        model(client),
        lambda wrong: feed.bodies.update({"/obs": wrong}),
        forecast(),
        NOW,
        lambda polled: polled.forecast.series,
    )


async def test_without_an_attribution_the_host_is_named(client) -> None:
    assert station(client).attribution == "Data from stations.example"
