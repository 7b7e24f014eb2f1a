"""From a station's reading to the push, beside what else such a rule is put into. In one run.

None of the others does what this program is for: see the table they are printed in.
"""

import json
import time
from collections.abc import Callable
from pathlib import Path

import httpx
import numpy as np
import pytest

from tests.support.peer.broker_and_rule import broker_and_rule
from tests.support.peer.scrape_and_rule import scrape_and_rule
from tests.support.peer.webhooks import Phone
from tests.support.post_to_push import post_to_push, small_farm

ROUNDS = 40
BOUND_M_S = 6.7056  # 15 mph
_CALM, _GUST = 3.1, 8.5


def _rounds(phone: Phone, post: Callable[[str], object]) -> list[float]:
    """Post a gust and then a calm so many times; how long the phone waited for the gust. [ms]"""
    took, rng = [], np.random.default_rng(4)
    for _ in range(ROUNDS):
        time.sleep(rng.uniform(0.0, 1.0))  # a reading comes at no particular moment of a scrape
        started = time.monotonic()
        post(json.dumps({"gust_m_s": _GUST}))
        took.append(1000 * (phone.when(over=True, after=started) - started))
        post(json.dumps({"gust_m_s": _CALM}))
        phone.when(over=False, after=started)
    return took


@pytest.mark.bench
async def test_the_same_rule_elsewhere(tmp_path: Path) -> None:
    heard: dict[str, list[float]] = {}
    for name in ("ours", "stack", "broker"):
        (tmp_path / name).mkdir()
    heard["this program"] = await post_to_push(tmp_path / "ours", small_farm(), ROUNDS)
    phone = Phone()
    with scrape_and_rule(tmp_path / "stack", phone, BOUND_M_S) as url, httpx.Client() as station:
        heard["scrape and rule"] = _rounds(
            phone, lambda reading: station.post(url, content=reading)
        )
    phone = Phone()
    with broker_and_rule(tmp_path / "broker", phone, BOUND_M_S) as publish:
        heard["broker and script"] = _rounds(phone, publish)
    print(f"\nfrom a reading to the push, {ROUNDS} rounds each:")
    for name, took in heard.items():
        median, p99 = np.percentile(took, [50, 99])
        print(f"  {name:<18} median {median:6.0f} ms, 99th percentile {p99:6.0f} ms")
    assert all(len(took) == ROUNDS for took in heard.values())
