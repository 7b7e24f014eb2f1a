"""A field's hours as a row: the same as each hour asked about by itself."""

import numpy as np
import pytest

from tests.judge.test_season import gappy
from tests.support.farms import build, tables
from tests.support.large_farm import changeable_weather, large_farm
from tests.support.mixed_farm import mixed_farm
from watcher.judge.hour_grid import NOTHING, hour_row
from watcher.judge.judgement import Judgement, judge
from watcher.judge.reasons import reasons
from watcher.judge.setup_choice import choose_setup
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState, Status

HOURS = slice(20, 100)


@pytest.fixture(scope="module", params=["large", "mixed", "slow"])
def judged(request: pytest.FixtureRequest) -> Judgement:
    """Short jobs, jobs of many kinds, and jobs that take half a day."""
    if request.param == "slow":
        config = tables()
        for sprayer in config["sprayers"].values():
            sprayer |= {"speed": "4 mph", "boom_width": "30 ft"}
        return judge(FarmArrays.of(build(config)), gappy())
    if request.param == "large":
        return judge(FarmArrays.of(large_farm(6, 2)), gappy())
    return judge(FarmArrays.of(mixed_farm()), changeable_weather(24 * 8))


def test_every_hour_is_as_it_is_by_itself(judged: Judgement) -> None:
    for field in range(len(judged.plan.fields)):
        row = hour_row(judged, field, HOURS)
        for n, time in enumerate(range(HOURS.start, HOURS.stop)):
            setup = choose_setup(judged, field, time)
            assert row.setup[n] == setup
            assert row.status[n] == judged.status[field, row.setup[n], time]


@pytest.mark.long
def test_what_decides_is_the_first_of_the_reasons_then(judged: Judgement) -> None:
    hours = np.arange(HOURS.start, HOURS.stop)
    rows = [hour_row(judged, field, HOURS) for field in range(len(judged.plan.fields))]
    if judged.plan.duration_s.min() > 3600:
        assert any((row.at > hours).any() for row in rows)
    for field, row in enumerate(rows):
        for n, time in enumerate(hours):
            if row.limit[n] == NOTHING:
                assert row.status[n] <= Status.UNKNOWN
                continue
            found = reasons(judged, field, int(row.setup[n]), int(row.at[n]))
            first = next(r for r in found if row.at[n] == time or r.limit is not Limit.BEGIN)
            assert row.limits[row.limit[n]] is first.limit


@pytest.mark.long
def test_what_decides_is_as_bad_as_the_status_says(judged: Judgement) -> None:
    worst = {
        Status.UNSUITABLE: {LimitState.BROKEN},
        Status.UNKNOWN: {LimitState.UNKNOWN},
        Status.MARGINAL: {LimitState.BROKEN, LimitState.NEAR},
        Status.SUITABLE: {LimitState.HOLDS},
    }
    for field in range(len(judged.plan.fields)):
        row = hour_row(judged, field, HOURS)
        for n in np.flatnonzero(row.limit != NOTHING):
            case = field, int(row.setup[n]), int(row.at[n])
            stand = {r.limit: r.stand for r in reasons(judged, *case)}
            assert stand[row.limits[row.limit[n]]] in worst[Status(int(row.status[n]))]
