"""Without a plan: a ranking of the moment sends whoever is free, to compare plans with."""

import numpy as np

from watcher.planning.choices import Choices
from watcher.planning.orders import Job, Order, Timed

_OPEN = 0.5
"""A field is open at a start from this chance on; a forecast taken as true has 1 or 0."""


def dispatched(choices: Choices) -> tuple[Order, Timed]:
    """Return what is done where nobody looks ahead, with the starts of it.

    At each start every free unit takes, of the fields that are open and that it can be in by then,
    the one with the fewest open starts left for the length of its job.
    """
    fields, starts = choices.chance.shape[1:]
    open_ = np.asarray(np.nan_to_num(choices.chance, nan=0.0) >= _OPEN)
    anywhere = np.asarray(open_.any(axis=0))
    left_open = np.cumsum(anywhere[:, ::-1], axis=1)[:, ::-1]  # from each start on [F, B]
    left = set(range(fields))
    order: list[list[int]] = [[] for _ in choices.driven]
    begun: list[list[Job]] = [[] for _ in choices.driven]
    ready = np.full((len(choices.driven), len(choices.change_s)), -np.inf)
    for b in range(starts):
        for unit, sprayers in enumerate(choices.driven):
            scarce = [
                (left_open[f, b] / choices.duration_s[k, f, b], f, k)
                for f in left
                for k in sprayers
                if open_[k, f, b] and ready[unit, choices.state[k, f, b]] <= choices.starts[b]
            ]
            if not scarce:
                continue
            _, f, k = min(scarce)
            left.discard(f)
            order[unit].append(f)
            begun[unit].append((k, b))
            ready[unit] = choices.ends_s[k, f, b] + choices.change_s[choices.state[k, f, b]]
    worth = sum(
        float(choices.value[k, f, b])
        for fields_, jobs in zip(order, begun, strict=True)
        for f, (k, b) in zip(fields_, jobs, strict=True)
    )
    return tuple(map(tuple, order)), Timed(worth, tuple(map(tuple, begun)))
