"""Without a plan: a ranking of the moment sends whoever is free, to compare plans with."""

import numpy as np

from watcher.planning.choices import Choices
from watcher.planning.orders import Order, Timed

_OPEN = 0.5
"""A field is open at a start from this chance on; a forecast taken as true has 1 or 0."""


def dispatched(choices: Choices) -> tuple[Order, Timed]:
    """Return what is done where nobody looks ahead, with the starts of it.

    At each start every free sprayer takes, of the fields that are open and that it can be in by
    then, the one with the fewest open starts left for the length of its job.
    """
    sprayers, fields, starts = choices.chance.shape
    open_ = np.asarray(np.nan_to_num(choices.chance, nan=0.0) >= _OPEN)
    anywhere = np.asarray(open_.any(axis=0))
    left_open = np.cumsum(anywhere[:, ::-1], axis=1)[:, ::-1]  # from each start on [F, B]
    left = set(range(fields))
    order: list[list[int]] = [[] for _ in range(sprayers)]
    begun: list[list[int]] = [[] for _ in range(sprayers)]
    ready = np.full((sprayers, fields), -np.inf)
    for b in range(starts):
        for k in range(sprayers):
            scarce = [
                (left_open[f, b] / choices.duration_s[k, f, b], f)
                for f in left
                if open_[k, f, b] and ready[k, f] <= choices.starts[b]
            ]
            if not scarce:
                continue
            f = min(scarce)[1]
            left.discard(f)
            order[k].append(f)
            begun[k].append(b)
            ready[k] = choices.ends_s[k, f, b] + choices.change_s[choices.group[f], choices.group]
    worth = sum(
        float(choices.value[k, f, b])
        for k in range(sprayers)
        for f, b in zip(order[k], begun[k], strict=True)
    )
    return tuple(map(tuple, order)), Timed(worth, tuple(map(tuple, begun)))
