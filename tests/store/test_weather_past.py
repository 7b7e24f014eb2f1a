"""Past weather on both databases: what was forecast last before it came, and in which order."""

import numpy as np

from watcher.sources.base import Flag, Forecast, Observations
from watcher.store import arrivals, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

SITE = Site(41.0, -96.0)
START = 1_781_107_200
HOUR, DAY = 3600, 86_400


def issue(
    log: Database, issued_at: int, temp: float, source: str = "feed", hours: int = 48
) -> None:
    times = issued_at // HOUR * HOUR + HOUR * np.arange(-2, hours)
    series = WeatherSeries.of(times, SITE, source, {"temp_c": np.full(times.size, temp)})
    with log.writing() as session:
        weather.add_forecast(session, Forecast(series, issued_at, issued_at, "invented"))


def foretold(log: Database, start: int, end: int) -> WeatherSeries:
    with log.reading() as session:
        return weather.foretold(session, "feed", start, end, within_s=DAY)


class TestForetold:
    def test_the_last_issue_before_each_time_speaks(self, log: Database) -> None:
        issue(log, START, 1.0)
        issue(log, START + 2 * HOUR, 2.0)
        issue(log, START + 2 * HOUR + 60, 3.0)
        issue(log, START, 9.0, source="another")
        found = foretold(log, START, START + 5 * HOUR)
        assert found.times.tolist() == [START + HOUR * n for n in range(5)]
        assert found.temp_c.tolist() == [1.0, 1.0, 2.0, 3.0, 3.0]
        assert (found.site, found.source) == (SITE, "feed")

    def test_an_issue_says_nothing_of_hours_before_it(self, log: Database) -> None:
        issue(log, START, 1.0)
        assert len(foretold(log, START - 2 * HOUR, START)) == 0

    def test_nor_of_those_a_day_after_it(self, log: Database) -> None:
        issue(log, START, 1.0)
        assert foretold(log, START, START + 2 * DAY).times[-1] == START + 23 * HOUR

    def test_nothing_issued_is_nothing(self, log: Database) -> None:
        assert len(foretold(log, START, START + DAY)) == 0


class TestArrivals:
    def test_readings_come_as_they_were_received(self, log: Database) -> None:
        """One on time, two an hour late and together, one imported a month later."""
        received = (START + 5, START + HOUR, START + HOUR, START + 30 * DAY)
        for number, at in enumerate(received):
            time = START + 60 * number
            series = WeatherSeries.of([time], SITE, "mast", {"temp_c": [float(number)]})
            flags = {"temp_c": np.array([Flag.STEP if number == 1 else 0], dtype=np.uint16)}
            with log.writing() as session:
                weather.add_observations(session, Observations(series, flags), at)
        with log.reading() as session:
            found = sorted(
                arrivals.readings(session, "mast", START, START + DAY), key=lambda a: a.at
            )
        temperatures = [
            (a.at, a.observations.series.temp_c.tolist()) for a in found if a.observations
        ]
        assert temperatures == [
            (START + 5, [0.0]),
            (START + 180, [3.0]),
            (START + HOUR, [1.0, 2.0]),
        ]
        [late] = [a.observations for a in found if a.at == START + HOUR]
        assert late is not None
        assert late.flags["temp_c"].tolist() == [Flag.STEP, 0]

    def test_forecasts_come_when_they_were_issued(self, log: Database) -> None:
        for number in range(3):
            issue(log, START + number * HOUR, float(number))
        with log.reading() as session:
            found = list(arrivals.forecasts(session, "feed", START, START + 2 * HOUR))
        assert [(a.at, a.forecast.series.temp_c[0]) for a in found if a.forecast] == [
            (START, 0.0),
            (START + HOUR, 1.0),
        ]

    def test_a_source_that_never_spoke_comes_with_nothing(self, log: Database) -> None:
        with log.reading() as session:
            assert list(arrivals.readings(session, "mast", START, START + DAY)) == []
