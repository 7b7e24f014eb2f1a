"""Which station speaks for which field now: by distance, age and health, in the order told."""

from typing import Any

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.running import SetClock, put_forecast
from watcher.farm import Farm
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status
from watcher.messages.weather import source_lines, spoken_lines
from watcher.records.judged_weather import moment
from watcher.service.season import add_up
from watcher.service.snapshot import Snapshot, compose
from watcher.service.transactions import Transactions
from watcher.sources.base import Observations
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

NOON = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
MEASURES = ["wind", "gust", "wind_from", "temperature", "humidity"]
PLACES = {"west": LONGITUDE + 0.002, "east": LONGITUDE + 0.1667}
"""Within the first and the last of eight fields, 14 km apart."""
CALM, WINDY = 3.2, 9.0


@pytest.fixture
def farm() -> Farm:
    config: dict[str, Any] = tables()
    config["fields"] = {f"f{i}": config["fields"]["hill"] for i in range(8)}
    config["neighbours"] = {}
    config["sources"] = {
        name: {
            "kind": "push",
            "place": [LATITUDE + 0.002, longitude],
            "heights": {"wind": "3 m"},
            "measures": MEASURES,
        }
        for name, longitude in PLACES.items()
    } | {"feed": {"kind": "met_norway"}}
    return build(config)


@pytest.fixture
def log(log: Database) -> Database:
    put_forecast(log, NOON, wind_m_s=3.5, gust_m_s=4.5)
    return log


def air(
    site: Site, source: str, wind_m_s: float, minutes: range = range(-60, 1), **more: float
) -> Observations:
    times = NOON + 60 * np.array(minutes)
    wiggle = 0.1 * (np.arange(times.size) % 3)
    means = {"wind_m_s": wind_m_s, "gust_m_s": wind_m_s * 1.2, "temp_c": 20.0, "humidity_pct": 55.0}
    values = {name: mean + wiggle for name, mean in (means | more).items()}
    values["wind_from_deg"] = 10.0 + 10 * wiggle
    return Observations(WeatherSeries.of(times, site, source, values))


def tell(
    transactions: Transactions, source: str, wind_m_s: float, minutes: range = range(-60, 1)
) -> None:
    site = Site(LATITUDE, PLACES[source], wind_height_m=3.0)
    transactions.take_in(air(site, source, wind_m_s, minutes))


@pytest.fixture
def transactions(farm: Farm, log: Database) -> Transactions:
    return Transactions(FarmArrays.of(farm), log, SetClock(NOON))


def statuses(snapshot: Snapshot) -> dict[str, Status]:
    return {name: seen.status for name, seen in snapshot.ranking.every.items()}


def test_each_field_is_judged_by_the_station_near_it(transactions: Transactions) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", WINDY)
    snapshot = transactions.judge()
    found = statuses(snapshot)
    assert (found["f0"], found["f7"]) == (Status.SUITABLE, Status.UNSUITABLE)
    wind = {r.limit: r.value for r in snapshot.ranking.every["f7"].reasons}[Limit.WIND]
    assert wind > 4.5  # the east's, brought down to the boom; the west's is half of that
    assert snapshot.timeline.of("f7").spoken["wind_m_s"].source == "east"


def test_where_the_near_one_is_silent_the_other_one_speaks(transactions: Transactions) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", WINDY, range(-120, -60))
    snapshot = transactions.judge()
    assert snapshot.timeline.of("f7").spoken["wind_m_s"].source == "west"
    assert statuses(snapshot)["f7"] is Status.SUITABLE


def test_where_the_near_one_fails_often_the_other_one_speaks(transactions: Transactions) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", 90.0)  # beyond every range: flagged throughout
    assert transactions.judge().timeline.of("f7").spoken["wind_m_s"].source == "west"


def test_no_gust_is_taken_from_an_anemometer_whose_wind_is_not(transactions: Transactions) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", 90.0)
    timeline = transactions.judge().timeline.of("f7")
    assert timeline.spoken["gust_m_s"].source == "west"
    assert timeline.series.gust_m_s[timeline.now_index] == pytest.approx(CALM * 1.2, abs=0.3)
    past = timeline.series.gust_m_s[: timeline.now_index]
    assert np.nanmax(past) == pytest.approx(CALM * 1.2, abs=0.3)


def test_it_is_told_who_speaks_for_which_fields(transactions: Transactions) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", WINDY)
    timeline = transactions.judge().timeline
    first, second, *_ = english(source_lines(timeline))
    assert first == "Wind measured by west just now."
    assert second.startswith("For f")
    assert second.endswith(", f7: Wind measured by east just now.")
    assert english(spoken_lines(timeline.of("f7"))) == [
        "Measured by east just now: wind, gust, wind direction, temperature, humidity.",
        "Forecast by feed 10 min ago: rain, cloud.",
    ]


def test_the_record_of_a_job_has_the_weather_of_its_field(
    transactions: Transactions, log: Database
) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", WINDY)
    plan = transactions.plan
    with log.reading() as session:

        def at(field: str) -> Any:
            return moment(
                session,
                plan,
                lambda when: compose(session, plan, when),
                at=NOON,
                mark="start",
                field=field,
                setup="coarse",
                paused=False,
            )

        west, east = at("f0"), at("f7")
    assert (west.spoken["wind_m_s"].source, east.spoken["wind_m_s"].source) == ("west", "east")
    assert west.wind_m_s == pytest.approx(CALM, abs=0.2)
    assert east.wind_m_s == pytest.approx(WINDY, abs=0.2)
    assert [q.source for q in east.quality] == ["east"]


def test_a_past_season_is_each_fields_own(transactions: Transactions, log: Database) -> None:
    tell(transactions, "west", CALM, range(-60, 300))
    tell(transactions, "east", WINDY, range(-60, 300))
    with log.reading() as session:
        found = add_up(session, transactions.plan, NOON, NOON + 3600)
    open_hours = dict(zip(found.fields, found.open_hours.tolist(), strict=True))
    assert (open_hours["f0"], open_hours["f7"]) == (1.0, 0.0)
    assert Limit.WIND in found.bound


class TestTwoThermometers:
    """At different heights, by day in a steady wind: no rule of thumb finds an inversion."""

    def test_that_agree_with_the_sun_find_nothing(self, log: Database) -> None:
        assert self._inversion(log, mast=19.5) == (LimitState.HOLDS, "mast")

    def test_of_which_the_upper_one_failed_tell_nothing_and_it_is_never_suitable(
        self, log: Database
    ) -> None:
        assert self._inversion(log, mast=np.nan) == (LimitState.UNKNOWN, None)

    def test_where_there_never_was_a_second_one_the_rules_of_thumb_speak(
        self, log: Database
    ) -> None:
        assert self._inversion(log, mast=None) == (LimitState.HOLDS, None)

    def test_of_another_station_do_not_stand_in_for_one_that_failed(self, log: Database) -> None:
        assert self._inversion(log, mast=np.nan, yard=19.5) == (LimitState.UNKNOWN, None)

    def test_are_not_taken_from_two_stations(self, log: Database) -> None:
        assert self._inversion(log, mast=None, yard=25.0) == (LimitState.HOLDS, None)

    @staticmethod
    def _inversion(log: Database, **upper: float | None) -> tuple[LimitState, str | None]:
        """How the inversion stands, and who speaks for the upper thermometer."""
        config: dict[str, Any] = tables()
        config["sources"] = {"feed": {"kind": "met_norway"}}
        for name, there in upper.items():
            config["sources"][name] = {
                "kind": "push",
                "heights": {"wind": "3 m", "temperature": "2 m", "temperature_upper": "10 m"},
                "measures": [*MEASURES, *(() if there is None else ("temperature_upper",))],
            }
        transactions = Transactions(FarmArrays.of(build(config)), log, SetClock(NOON))
        site = Site(LATITUDE, LONGITUDE, wind_height_m=3.0, temp_upper_height_m=10.0)
        for name, there in upper.items():
            upper_c = np.nan if there is None else there
            transactions.take_in(air(site, name, CALM, temp_upper_c=upper_c))
        snapshot = transactions.judge()
        seen = snapshot.ranking.every["hill"]
        stand = {r.limit: r.stand for r in seen.reasons}[Limit.INVERSION]
        assert (stand is LimitState.UNKNOWN) == (seen.status is Status.UNKNOWN)
        return stand, snapshot.timeline.spoken["temp_upper_c"].source


def test_a_station_that_is_not_believed_is_named_and_no_sign_of_health(
    transactions: Transactions,
) -> None:
    tell(transactions, "west", CALM)
    tell(transactions, "east", 90.0)
    health = transactions.health(NOON)
    assert {s.name: s.distrusted for s in health.sources} == {
        "west": (),
        "east": ("wind_m_s",),
        "feed": (),
    }
    assert not health.well
    assert transactions.judge().timeline.distrusted == {"west": (), "east": ("wind_m_s",)}
