"""A long time lived at once: the process must not grow with it. Run by hand: -m bench -s."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.support.soak import Sample, Slope, slope, soak

DAY_H = 24.0
# The last hour of readings is held in memory by design; only after it is anything a leak.
WINDOW_H = 1.0


def _print(sample: Sample) -> None:
    """Say each look as it comes: a soak that is broken off has still shown something."""
    print(sample, flush=True)


def _grows(samples: Sequence[Sample], title: str) -> dict[str, Slope]:
    print(f"\n{title}: {len(samples)} looks over {samples[-1].hours:.1f} h")
    found = {}
    for what in ("resident", "own", "descriptors", "threads", "log"):
        found[what] = slope(list(samples), what)
        print(f"  {what:<12} {found[what]}, at the end {getattr(samples[-1], what):.1f}")
    return found


@pytest.mark.bench
def test_two_hours_at_a_reading_a_second(template: Path, tmp_path: Path) -> None:
    samples = soak(
        tmp_path / "soak", template, every_s=1, hours=2 * WINDOW_H, looks=40, watching=_print
    )
    grows = _grows([s for s in samples if s.hours > WINDOW_H], "a reading a second")
    # A day of readings is kept for quality control: 86,400 of them are some 15 MiB.
    assert grows["own"].by_hour - 2 * grows["own"].uncertain < 3.0
    assert abs(grows["descriptors"].by_hour) < 1
    assert abs(grows["threads"].by_hour) < 1


@pytest.mark.bench
def test_a_month_at_a_reading_in_ten_minutes(template: Path, tmp_path: Path) -> None:
    samples = soak(
        tmp_path / "soak", template, every_s=600, hours=30 * DAY_H, looks=60, watching=_print
    )
    grows = _grows([s for s in samples if s.hours > 3 * DAY_H], "a month")
    assert (grows["own"].by_hour - 2 * grows["own"].uncertain) * DAY_H < 1.0
    assert abs(grows["descriptors"].by_hour) * DAY_H < 1
    assert abs(grows["threads"].by_hour) * DAY_H < 1
