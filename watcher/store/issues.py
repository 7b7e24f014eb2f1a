"""What a feed stands by: an issue that says what the last one said is no new one."""

from typing import cast

import numpy as np
from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from watcher.sources.base import Forecast, GivenValues, Statistic
from watcher.store.rows import nullable
from watcher.store.session import farm_of
from watcher.store.tables import ForecastHour, ForecastValues, IssuedForecast
from watcher.weather.series import Bound, Floats, WeatherSeries

KEPT_ANEW_S = 24 * 3600
"""A feed that tells no time of issue and says the same for so long is taken to have issued it again
(no source)."""


def stands_by(kept: Forecast, issue: Forecast) -> bool:
    """Whether an issue says what the kept one says: the same values at all times that both have.

    Hours that lie in the past may be gone, and hours may have come in at the end.
    """
    old, new = kept.series, issue.series
    if not len(old) or not len(new):
        return len(old) == len(new)
    times, in_old, in_new = np.intersect1d(old.times, new.times, return_indices=True)
    if not times.size or times[0] != max(old.times[0], new.times[0]):
        return False
    later = new.times[~np.isin(new.times, times)]
    if later.size and later[0] <= old.times[-1]:
        return False
    former, now = old.at(in_old), new.at(in_new)
    if not all(
        np.array_equal(values, getattr(now, name), equal_nan=True)
        for name, values in former.quantities().items()
    ):
        return False
    return all(_same(former.bound(name), now.bound(name)) for name in {*former.bounds, *now.bounds})


def is_same_issue(kept: Forecast, issue: Forecast) -> bool:
    """Whether an issue is the kept one again, whatever times it was fetched at."""
    # One that was changed under its time of issue is kept under another, but of the same run.
    same_time = issue.issued_at == kept.issued_at or (issue.run_at or 0) == kept.run_at
    if issue.tells_issue and not same_time:
        return False
    if not issue.tells_issue and issue.fetched_at - kept.issued_at >= KEPT_ANEW_S:
        return False
    return stands_by(kept, issue)


def _same(one: Bound, other: Bound) -> bool:
    return all(np.array_equal(a, b, equal_nan=True) for a, b in zip(one, other, strict=True))


def new_hours(kept: WeatherSeries, given: WeatherSeries) -> WeatherSeries:
    """Return the hours that are given beyond the kept ones."""
    return given.at(given.times > kept.times[-1]) if len(kept) else given


def stand_by_again(session: Session, number: int, fetched_at: int) -> None:
    """Note that a feed stood by an issue again."""
    session.execute(
        update(IssuedForecast)
        .where(IssuedForecast.id == number, IssuedForecast.fetched_at < fetched_at)
        .values(fetched_at=fetched_at)
    )


def keep_given(session: Session, number: int, given: tuple[GivenValues, ...]) -> None:
    """Keep what an issue was given as; of one that is kept already what goes beyond it."""
    for each in given:
        key = (farm_of(session), number, each.quantity, each.statistic)
        row = session.get(ForecastValues, key)
        if row is None:
            row = ForecastValues(
                forecast_id=number,
                quantity=each.quantity,
                statistic=each.statistic,
                starts=[],
                intervals=[],
                values=[],
            )
            session.add(row)
        last = row.starts[-1] if row.starts else -np.inf
        later = each.starts > last
        if later.any():
            row.starts = [*row.starts, *each.starts[later].tolist()]
            row.intervals = [*row.intervals, *each.intervals[later].tolist()]
            row.values = [*row.values, *nullable(each.values[later])]
    session.flush()


def given_values(session: Session, number: int) -> tuple[GivenValues, ...]:
    """Return what an issue was given as."""
    rows = session.scalars(
        select(ForecastValues)
        .where(ForecastValues.forecast_id == number)
        .order_by(ForecastValues.quantity, ForecastValues.statistic)
    )
    return tuple(
        GivenValues(
            row.quantity,
            cast("Statistic", row.statistic),
            np.array(row.starts, dtype=np.int64),
            np.array(row.intervals, dtype=np.int64),
            _floats(row.values),
        )
        for row in rows
    )


def _floats(values: list[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values])


def let_go(session: Session, numbers: object) -> None:
    """Remove issues with all that is kept of them; ``numbers`` are a list or a query."""
    for table in (ForecastHour, ForecastValues):
        session.execute(delete(table).where(table.forecast_id.in_(numbers)))  # type: ignore[arg-type]
    session.execute(delete(IssuedForecast).where(IssuedForecast.id.in_(numbers)))  # type: ignore[arg-type]
