"""In light wind a field is judged by reports without gusts; a calm night costs nothing."""

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from tests.support.running import SetClock, put_forecast
from watcher.judge.reasons import Reason
from watcher.limits.catalogue import Limit
from watcher.limits.check import Knowledge
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.service.history import past_ten_minutes
from watcher.service.snapshot import Snapshot
from watcher.service.transactions import Transactions
from watcher.sources.feeds.nws_bodies import station_observations
from watcher.sources.stations import metar
from watcher.sources.stations.rows import observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.weather.series import Site

NOW = int(datetime(2026, 6, 10, 16, 55, tzinfo=UTC).timestamp())  # 11:55 in Chicago's zone
PLACE = (41.0, -96.0)
SOURCE = {"kind": "metar", "station": "KXYZ", "file": "/srv/metar.txt"}


def transactions(log: Database, source: dict[str, Any], now: int = NOW) -> Transactions:
    farm = build(tables() | {"sources": {"field": source, "feed": {"kind": "met_norway"}}})
    put_forecast(log, now)
    return Transactions(FarmArrays.of(farm), log, SetClock(now))


def reporting(log: Database, *reports: str, now: int = NOW) -> Transactions:
    """The watch of a farm that hears an aerodrome's reports; the newest last."""
    watch = transactions(log, SOURCE, now)
    text = metar.MetarText("\n".join(f"METAR KXYZ {r}" for r in reports).encode(), "file", now)
    rows, _ = metar.rows_of(text, "KXYZ", {}, now)
    watch.take_in(observations(rows, now=now, site=Site(*PLACE), source="field"))
    return watch


def gust(snapshot: Snapshot) -> Reason:
    reasons = snapshot.ranking.every["hill"].reasons
    return next(r for r in reasons if r.limit is Limit.GUST)


def test_a_light_wind_without_a_gust_group_is_judged(log: Database) -> None:
    """5 kt at 10 m, so gusts under 15 kt, 17 mph: under the 15 mph that hill takes at the boom."""
    reason = gust(reporting(log, "101650Z 36005KT 10SM CLR 22/12 A3001").judge())
    assert reason.stand >= LimitState.NEAR
    assert 5.0 < reason.value < 15 * 0.44704
    assert reason.known is Knowledge.AT_MOST


def test_in_more_wind_the_gust_stays_unknown_and_its_source_is_named(log: Database) -> None:
    watch = reporting(log, "101650Z 36016KT 10SM CLR 22/12 A3001")
    reason = gust(watch.judge())
    assert (reason.stand, reason.missing) == (LimitState.UNKNOWN, ("gust_m_s",))
    said = watch.post.speaker.reason("hill", reason)
    assert english(said) == "gust unknown: no value to rely on; see to field, feed"


@pytest.mark.parametrize(
    ("name", "stand"),
    [("KTAN", LimitState.NEAR), ("PHNL", LimitState.UNKNOWN), ("SEAW1", LimitState.UNKNOWN)],
)
def test_a_recorded_observation_without_gusts_is_judged(
    log: Database, shared: Path, name: str, stand: LimitState
) -> None:
    """4 kt; 7 kt, whose gusts may be 17 kt; a buoy, whose network tells by no such rule."""
    body = json.loads((shared / f"feeds/nws/rendered/observations__{name}.json").read_text())
    found = body["features"][0]["properties"]
    now = int(datetime.fromisoformat(found["timestamp"]).timestamp()) + 300
    watch = transactions(log, {"kind": "nws", "station": name}, now)
    watch.take_in(
        station_observations(
            body,
            source="field",
            place=PLACE,
            elevation_m=10.0,
            wind_height_m=10.0,
            oldest=now - 3600,
            now=now,
        )
    )
    reason = gust(watch.judge())
    assert reason.stand is stand


def test_a_calm_night_costs_no_direction(log: Database) -> None:
    """Ten hours of calm, then a breeze: its direction is believed at once, nothing is doubted."""
    night = [
        f"10{h:02}{m:02}Z 00000KT 10SM CLR 12/11 A3001" for h in range(6, 16) for m in (0, 20, 40)
    ]
    watch = reporting(log, *night, "101650Z 34006KT 10SM CLR 18/12 A3001")
    snapshot = watch.judge()
    assert snapshot.timeline.series.wind_from_deg[snapshot.timeline.now_index] == 340.0
    assert snapshot.timeline.distrusted == {"field": ()}
    neighbour = next(
        r for r in snapshot.ranking.every["hill"].reasons if r.limit is Limit.NEIGHBOUR
    )
    assert neighbour.stand is not LimitState.UNKNOWN


def test_the_calm_itself_has_no_direction_and_no_finding(log: Database) -> None:
    watch = reporting(log, "101650Z 00000KT 10SM CLR 12/11 A3001")
    snapshot = watch.judge()
    assert np.isnan(snapshot.timeline.series.wind_from_deg[snapshot.timeline.now_index])
    with log.reading() as session:
        assert not weather.observations(session, "field", 0, NOW + 1).flags


def test_ten_minutes_of_the_past_have_the_bounds_of_their_reports(log: Database) -> None:
    """What came of a job is judged as the job was: by the bound of a gust that was not told."""
    reporting(log, "101650Z 34006KT 10SM CLR 18/12 A3001")
    farm = build(tables() | {"sources": {"field": SOURCE, "feed": {"kind": "met_norway"}}})
    with log.reading() as session:
        series = past_ten_minutes(session, farm, NOW - 3600, NOW, ["field"])
    assert np.isnan(series.gust_m_s[-1])
    least, most = series.bound("gust_m_s")
    assert least[-1] < most[-1] < 9.0
