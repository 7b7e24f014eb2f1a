"""What is said of fields that are not open: what is not known is never a no."""

import numpy as np
import pytest

from tests.support.farms import build, watched_tables
from tests.support.skies import judged, timeline
from watcher.farm import Farm
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.field_now import nothing_open, silent_wind, when_open
from watcher.messages.reasons import Speaker


@pytest.fixture(scope="module")
def farm() -> Farm:
    return build(watched_tables())


def test_a_silent_station_is_no_unfit_field(farm: Farm) -> None:
    wind = np.full(72, 2.0)
    wind[0] = np.nan
    look = timeline(wind_age_s=21 * 60.0, wind_m_s=wind)
    _, ranking = judged(FarmArrays.of(farm), look)
    assert str(nothing_open(ranking)) == "Not known whether any field can be sprayed now."
    assert str(silent_wind(look)) == "Not known: station silent for 21 min"


def test_what_is_known_to_be_unfit_is_said_so(farm: Farm) -> None:
    look = timeline(gust_mph=30.0)
    _, ranking = judged(FarmArrays.of(farm), look)
    assert str(nothing_open(ranking)) == "No field is fit to be sprayed now."
    assert silent_wind(look) is None


@pytest.mark.parametrize(
    ("unknown_hour", "said"),
    [(None, "not in the next 48 h"), (30, "not known when it opens")],
)
def test_not_in_the_next_hours_needs_all_of_them_known(
    farm: Farm, unknown_hour: int | None, said: str
) -> None:
    gust = np.full(72, 30.0)
    wind = np.full(72, 5.0)
    if unknown_hour is not None:
        gust[unknown_hour] = wind[unknown_hour] = np.nan
    judgement, ranking = judged(FarmArrays.of(farm), timeline(gust_mph=gust, wind_mph=wind))
    assert str(when_open(judgement, ranking.rest[0], 0, Speaker(farm))).startswith(said)
