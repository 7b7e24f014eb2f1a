"""What feeds were off by, from the log: by the farm's clock, of where the station stands now."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from tests.service.test_chances import farm
from tests.support.kept_errors import keep
from tests.support.new_log import new_log
from watcher.service.sites import site_of_log
from watcher.service.skill import feed_errors
from watcher.store.database import Database
from watcher.weather.series import Floats, Seconds

NOW = 1_781_107_200
FARM = farm()
PAIR = ("feed", "mast")


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Database]:
    found = new_log(tmp_path / "watch.db")
    yield found
    found.close()


def at_noon(times: Seconds) -> Floats:
    """INVENTED: 2 m/s too high from 12 to 15 h on the farm's clock."""
    hours = [datetime.fromtimestamp(t, FARM.zone).hour for t in times.tolist()]
    return np.where(np.array(hours) // 3 == 4, 2.0, 0.0)


def test_the_hours_are_those_of_the_farms_clock(log: Database) -> None:
    with log.writing() as session:
        keep(session, PAIR, site_of_log(session, FARM, "mast"), NOW, 30, off=at_noon)
    with log.reading() as session:
        found = feed_errors(session, FARM, 0)
    assert found is not None
    by_hour = [off.bias for off in found.feeds["feed"].by_hour["wind_m_s"]]
    assert by_hour == pytest.approx([0, 0, 0, 0, 2, 0, 0, 0], abs=0.01)
    assert found.least == {}  # there is no other feed with forecasts


def test_a_mast_that_was_moved_or_raised_starts_anew(log: Database) -> None:
    with log.writing() as session:
        here = site_of_log(session, FARM, "mast")
        keep(session, PAIR, replace(here, wind_height_m=here.wind_height_m + 1.0), NOW, 30)
    with log.reading() as session:
        assert feed_errors(session, FARM, 0) is None


def test_what_was_kept_before_the_time_asked_for_does_not_count(log: Database) -> None:
    with log.writing() as session:
        keep(session, PAIR, site_of_log(session, FARM, "mast"), NOW, 30)
    with log.reading() as session:
        assert feed_errors(session, FARM, NOW - 14 * 86_400) is None
        assert feed_errors(session, FARM, NOW - 34 * 86_400) is not None
