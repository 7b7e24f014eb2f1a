"""Chances that were said of jobs on past days, with what came of them."""

import numpy as np

from watcher.store.tables import ChanceSaid

_DAY, _HOUR = 86_400, 3600


def on_days(now: int, days: int, field: str, setup: str, *, good: bool = True) -> list[ChanceSaid]:
    """Four chances a day, of 2 or 8 in 10, that held as often as was said; or as seldom."""
    rng = np.random.default_rng(0)
    rows = []
    for day in range(days):
        for hour in range(4):
            at = now - (day + 1) * _DAY + hour * _HOUR
            chance = float(rng.choice([0.2, 0.8]))
            held = rng.random() < (chance if good else 1.0 - chance)
            rows.append(
                ChanceSaid(
                    field=field,
                    setup=setup,
                    said_at=at - _HOUR,
                    starts_at=at,
                    ends_at=at + 2 * _HOUR,
                    chance=chance,
                    past_forecasts=30,
                    foretold_open=True,
                    outcome="held" if held else "broken",
                )
            )
    return rows
