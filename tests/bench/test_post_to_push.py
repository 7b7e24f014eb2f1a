"""From a station's POST to the push received, both over real HTTP on loopback."""

from pathlib import Path

import numpy as np
import pytest

from tests.support.post_to_push import hundred_fields, post_to_push, small_farm
from watcher.farm import Farm

ROUNDS = 60


@pytest.mark.bench
@pytest.mark.parametrize(
    "farm", [small_farm(), hundred_fields()], ids=["2 fields, 1 person", "100 fields, 10 people"]
)
async def test_how_long_a_gust_takes_from_post_to_push(tmp_path: Path, farm: Farm) -> None:
    took = await post_to_push(tmp_path, farm, ROUNDS)
    median, p99 = np.percentile(took, [50, 99])
    size = f"{len(farm.config.fields)} fields, {len(farm.config.recipients)} recipients"
    figures = f"median {median:.0f} ms, 99th percentile {p99:.0f} ms"
    print(f"\nPOST to push, {size}, {ROUNDS} rounds: {figures}")
    assert median < 2000
