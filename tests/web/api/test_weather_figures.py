"""Figures of weather and room: as judged, NaN where unknown, nothing once too old."""

import math
from pathlib import Path

from prometheus_client.parser import text_string_to_metric_families

from tests.support.visiting import CALM, LOOKER, Visited, visited

Figures = dict[str, dict[tuple[str, ...], float]]


async def figures(v: Visited) -> Figures:
    """Every figure, by its name and the values of its labels."""
    headers = {"Authorization": f"Bearer {LOOKER}"}
    found: Figures = {}
    for family in text_string_to_metric_families(
        (await v.web.get("/metrics", headers=headers)).text
    ):
        for sample in family.samples:
            found.setdefault(sample.name, {})[tuple(sample.labels.values())] = sample.value
    return found


async def test_they_are_what_was_judged(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        found = await figures(v)
        snapshot = v.service.watch.snapshot
    assert snapshot is not None
    seen = snapshot.ranking.every["hill"]
    assert found["watcher_station_wind_meters_per_second"] == {("mast",): 2.2352}
    assert found["watcher_field_boom_wind_meters_per_second"][("hill",)] == 2.2352
    assert found["watcher_station_humidity_ratio"][("mast",)] == 0.55
    assert found["watcher_field_least_margin_ratio"][("hill",)] == seen.binding.headroom
    assert found["watcher_inversion"][("mast", "none")] == 1.0
    assert sum(found["watcher_inversion"].values()) == 1.0
    assert found["watcher_judging_seconds_count"][()] >= 1


async def test_what_is_unknown_is_no_number(tmp_path: Path) -> None:
    async with visited(tmp_path, calm=False) as v:
        await v.service.post(**{k: q for k, q in CALM.items() if k not in {"gust", "wind"}})
        await v.service.judged()
        found = await figures(v)
    assert math.isnan(found["watcher_field_mast_wind_meters_per_second"][("hill",)])
    assert math.isnan(found["watcher_field_least_margin_ratio"][("hill",)])
    assert found["watcher_field_status"][("hill",)] == 1.0
    assert ("mast",) not in found.get("watcher_station_gust_meters_per_second", {})


async def test_what_is_too_old_is_not_told(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        watch = v.service.watch
        assert watch.judged_at is not None
        watch.judged_at -= 600
        found = await figures(v)
    for name in ("watcher_field_status", "watcher_field_least_margin_ratio", "watcher_field_limit"):
        assert name not in found
    assert "watcher_station_wind_meters_per_second" not in found
    assert found["watcher_judged_age_seconds"][()] >= 600
