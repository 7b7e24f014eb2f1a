"""Who lies beside whom must cost by the pair, not by every field with every neighbour."""

import time

import numpy as np
import pytest
import shapely

from watcher.farm.geometry.bearings import reach
from watcher.farm.geometry.ground import Ground


def _grid(side: int) -> Ground:
    """A square block of fields 450 m wide, and a narrow neighbour beside every one."""
    corners = [(-96.5 + i * 0.006, 41.0 + j * 0.006) for i in range(side) for j in range(side)]
    fields = {
        f"f{k}": shapely.box(w, s, w + 0.0055, s + 0.0055) for k, (w, s) in enumerate(corners)
    }
    beside = {
        f"n{k}": shapely.box(w + 0.0056, s, w + 0.0058, s + 0.0055)
        for k, (w, s) in enumerate(corners)
    }
    return Ground(fields, beside)


def _seconds_a_pair(side: int) -> float:
    ground = _grid(side)
    assert len(ground.fields) == len(ground.neighbours)  # projected before the clock starts
    took = []
    for _ in range(3):
        began = time.perf_counter()
        pairs = reach(ground, 100.0)
        took.append((time.perf_counter() - began) / len(pairs.pair_field))
    return float(np.min(took))


@pytest.mark.bench
def test_sixteen_times_the_farm_costs_no_more_a_pair() -> None:
    assert _seconds_a_pair(24) < 1.5 * _seconds_a_pair(6)
