"""How often each field would have opened, by the log: what counts, and what is said of it."""

from typing import Any

import numpy as np
import pytest

from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import Status
from watcher.service.open_shares import OpenShare, OpenShares, open_shares
from watcher.service.season import add_up
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

HOUR, DAY = 3600, 86_400
MAY = 1_777_611_600  # 2026-05-01 00:00 in Chicago's zone
MEASURES = ["wind", "gust", "wind_from", "temperature", "humidity", "rain"]


def plan(**changed: Any) -> FarmArrays:
    config: dict[str, Any] = tables()
    config["sources"] = {"mast": {"kind": "push", "heights": {"wind": "3 m"}, "measures": MEASURES}}
    config["neighbours"] = {}
    config["windows"]["contact"] |= changed
    return FarmArrays.of(build(config))


def fill(log: Database, start: int, days: int, **changed: Any) -> None:
    times = np.arange(start, start + days * DAY, 600)
    day = 2 * np.pi * ((times - MAY) % DAY) / DAY
    values = {
        "wind_m_s": 2.6 - 1.4 * np.cos(day),
        "gust_m_s": 3.8 - 1.8 * np.cos(day),
        "wind_from_deg": np.full(times.size, 180.0),
        "temp_c": 18.0 - 6.0 * np.cos(day),
        "humidity_pct": 60.0 + 20.0 * np.cos(day),
        "rain_mm_h": np.zeros(times.size),
    } | {name: np.full(times.size, value) for name, value in changed.items()}
    series = WeatherSeries.of(times, Site(LATITUDE, LONGITUDE, wind_height_m=3.0), "mast", values)
    with log.writing() as session:
        weather.add_observations(session, Observations(series), start)


def shares(log: Database, of: FarmArrays, now: int) -> OpenShares | None:
    with log.reading() as session:
        return open_shares(session, of, now)


def hill(log: Database, of: FarmArrays, now: int) -> OpenShare:
    found = shares(log, of, now)
    assert found is not None
    return next(one for one in found.fields if one.field == "hill")


def test_it_is_the_tally_of_the_summer_half_of_the_year(log: Database) -> None:
    fill(log, MAY - 40 * DAY, 65)  # nine days of it are of March
    found, now = plan(), MAY + 25 * DAY
    with log.reading() as session:
        tally = add_up(session, found, MAY - 30 * DAY, now)
    one = hill(log, found, now)
    row = found.fields.index("hill")
    known = tally.hours[row].sum() - tally.hours[row, Status.UNKNOWN]
    assert one.share == pytest.approx(tally.open_hours[row] / known, abs=0.003)
    assert 0.1 < one.share < 0.7
    assert one.known
    assert not one.throttled


def test_a_field_that_seldom_opens_names_what_stands_in_the_way(log: Database) -> None:
    fill(log, MAY, 25)
    one = hill(log, plan(temperature={"high": "5 degC"}), MAY + 25 * DAY)
    assert one.throttled
    assert one.by is Limit.TEMPERATURE


@pytest.mark.parametrize("days", [0, 10])
def test_a_few_days_say_nothing_of_a_season(log: Database, days: int) -> None:
    if days:
        fill(log, MAY, days)
    assert shares(log, plan(), MAY + 25 * DAY) is None


def test_winter_says_nothing_of_a_season(log: Database) -> None:
    fill(log, MAY - 150 * DAY, 60)
    assert shares(log, plan(), MAY) is None


def test_of_a_field_that_lacks_a_quantity_it_is_not_known_how_often(log: Database) -> None:
    # At night it is closed all the same: those hours are known, and speak for none of the others.
    fill(log, MAY, 40)
    one = hill(log, plan(soil_temperature_10cm={"low": "10 degC"}), MAY + 40 * DAY)
    assert not one.known
    assert not one.throttled
    assert one.by is Limit.SOIL_TEMPERATURE
