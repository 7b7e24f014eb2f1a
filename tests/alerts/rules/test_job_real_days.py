"""A job held open through real days of one-minute readings, and nobody acknowledging anything.

The days are open data of others, named in the reference material beside the repository.
"""

import csv
import gzip
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tests.support.minutes import Minutes
from tests.support.skies import MORNING
from watcher.farm import Farm
from watcher.store.database import Database

pytestmark = pytest.mark.long

_TO_BOOM = 0.6
"""From a sensor at 10 m down to a boom, roughly; the same for every day."""
_GUST_OF_MINUTE = 1.3
_BEGINS_H, _ENDS_H = 6.5, 18.0
_MOST_AN_HOUR = 2.0
_DAYS = {
    "san_diego": ("san_diego_20110910.csv.gz", "2011-09-10", -7),
    "cleveland": ("cleveland_2013_jul_sep.csv.gz", "2013-07-03", -4),
    "plains": ("sgp_e13_20190102.csv.gz", "2019-01-02", -6),
}


def minutes_of(path: Path, day: str, zone_h: int) -> list[dict[str, float]]:
    """Return the weather at boom height of every minute of the working day, as limits see it."""
    with gzip.open(path, "rt") as file:
        rows = list(csv.DictReader(file))
    begins = datetime.fromisoformat(f"{day}T00:00:00+00:00").timestamp() - zone_h * 3600
    at = np.array([datetime.fromisoformat(r["time"]).astimezone(UTC).timestamp() for r in rows])

    def column(name: str) -> np.ndarray:
        return np.array([float(r.get(name) or "nan") for r in rows])

    wind, temp, humidity = column("wind_m_s"), column("temp_c"), column("humidity_pct")
    gust = column("gust_m_s") if "gust_m_s" in rows[0] else _GUST_OF_MINUTE * wind
    found = []
    for minute in np.arange(begins + _BEGINS_H * 3600, begins + _ENDS_H * 3600, 60):
        last = np.flatnonzero((at > minute - 600) & (at <= minute))
        if last.size < 8:
            continue
        found.append(
            {
                "wind_m_s": _TO_BOOM * float(wind[last].mean()),
                "gust_m_s": _TO_BOOM * float(gust[last].max()),
                "temp_c": float(temp[last[-1]]),
                "humidity_pct": min(float(humidity[last[-1]]), 100.0),
            }
        )
    return found


@pytest.mark.parametrize("name", list(_DAYS))
def test_a_day_is_few_messages_and_no_crossing_goes_untold(
    name: str, shared: Path, store: Database, farm: Farm
) -> None:
    file, day, zone_h = _DAYS[name]
    weather = minutes_of(shared / "data" / "minutes" / file, day, zone_h)
    assert len(weather) > 600
    watch = Minutes(store, farm)
    watch.now = MORNING - 4 * 3600 - 1800
    watch.start()
    crossings = 0
    for values in weather:
        # The farm's own sun and clock: only the weather is the day's.
        watch.see(**values)
        watch.deliver()
        broken = watch.broken()
        crossings += bool(broken)
        assert not broken or "stop" in watch.raised()
    hours = len(weather) / 60
    heard = watch.messages()
    print(f"{name}: {len(heard)} messages in {hours:.1f} h, {crossings} minutes outside")
    assert len(heard) <= _MOST_AN_HOUR * hours
