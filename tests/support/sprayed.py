"""An invented farm with products, and a log of a job it sprayed: for the tests of records."""

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from tests.support import job_steps
from tests.support.farms import LATITUDE, LONGITUDE, build, tables
from tests.support.running import put_forecast
from watcher.farm import Farm
from watcher.judge.timeline import Timeline
from watcher.limits.farm_arrays import FarmArrays
from watcher.records import commands
from watcher.records.record import Record
from watcher.service.snapshot import compose
from watcher.sources.base import Observations
from watcher.store import outbox, weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

MORNING = 1_781_107_200  # 2026-06-10 11:00 in Chicago's zone
MINUTE, HOUR = 60, 3600
_SENSOR_M = 3.048
FAIR = {
    "wind_m_s": 2.5,
    "gust_m_s": 3.6,
    "wind_from_deg": 180.0,  # onto the orchard, which lies north
    "temp_c": 22.0,
    "humidity_pct": 55.0,
}


def farm_tables() -> dict[str, Any]:
    """The invented farm with everything a record can take from a farm file."""
    config = tables()
    config["farm"] |= {
        "applicator": "A. Grower",
        "certificate": "0000",
        "record_rules": ["former 7 CFR 110"],
    }
    config["products"] = {
        "contact_a": {
            "name": "Contact A (invented)",
            "registration": "00000-000",
            "rate": "22 fl oz/acre",
        },
        "wetter": {"name": "Wetter (invented)", "registration": "00000-001", "rate": "1 pt/acre"},
    }
    config["fields"]["creek_side"] |= {
        "products": ["contact_a"],
        "pests": "waterhemp",
        "location": "section 12 (invented)",
    }
    config["sources"] = {
        "mast": {"kind": "push", "heights": {"wind": "10 ft"}},
        "feed": {"kind": "met_norway"},
    }
    return config


def farm(**basics: Any) -> Farm:
    """That farm, with other keys in its [farm]."""
    config = farm_tables()
    config["farm"] |= basics
    return build(config)


def put_readings(log: Database, start: int, end: int, **quantities: Any) -> None:
    """Put a reading a minute of the mast into the log, arriving as they are made."""
    for first in range(start, end, HOUR):
        times = np.arange(first, min(first + HOUR, end), MINUTE)
        values = {k: np.broadcast_to(v, times.size) for k, v in (FAIR | quantities).items()}
        site = Site(LATITUDE, LONGITUDE, wind_height_m=_SENSOR_M)
        series = WeatherSeries.of(times, site, "mast", values)
        with log.writing() as session:
            weather.add_observations(session, Observations(series), received_at=first)


def spray(log: Database, given: Farm, *, minutes: int = 75, field: str = "creek_side") -> int:
    """Spray a field in fair weather: a pause of ten minutes, one alert seen. Returns its number."""
    put_forecast(log, MORNING)
    put_readings(log, MORNING - 2 * HOUR, MORNING + minutes * MINUTE + 1)
    plan = FarmArrays.of(given)
    with log.writing() as session:
        job = job_steps.start(session, plan, field, "coarse", MORNING)
        job_steps.pause(session, job.id, MORNING + 25 * MINUTE, "filling")
        job_steps.resume(session, job.id, MORNING + 35 * MINUTE)
        outbox.put(session, _alert(job.id))
        outbox.acknowledge(session, "ABCDE", "grower", MORNING + 42 * MINUTE)
        job_steps.finish(session, job.id, MORNING + minutes * MINUTE)
    return job.id


def _alert(job: int) -> outbox.NewMessage:
    at = MORNING + 40 * MINUTE
    return outbox.NewMessage(
        key=f"job:{job}/get ready/1",
        short_id="ABCDE",
        about=f"job:{job}",
        kind="get ready",
        recipient="grower",
        title="Get ready: gusts 9 mph",
        body="Be ready to stop.",
        created_at=at,
        caused_at=at,
        due_at=at,
        urgent=True,
    )


def composing(session: Session, given: Farm) -> Callable[[int], Timeline]:
    """What composes the timeline of a moment from the log."""
    return partial(compose, session, FarmArrays.of(given))


AFTERWARDS = MORNING + 5 * HOUR


class RuleGroup:
    """Steps on records of one farm, each in a transaction of its own."""

    def __init__(self, store: Database, farm: Farm) -> None:
        self.store, self.farm, self.plan = store, farm, FarmArrays.of(farm)
        self.now = AFTERWARDS

    def run(self, step: Callable[..., Any], *args: Any, **more: Any) -> Any:
        with self.store.writing() as session:
            return step(session, *args, **more)

    def tell(self, job: int, **given: str) -> Record:
        return self.run(commands.tell, self.farm, job, _keys(given), by="grower", now=self.now)

    def correct(self, job: int, why: str, **given: str) -> Record:
        return self.run(
            commands.correct, self.farm, job, _keys(given), why=why, by="grower", now=self.now
        )

    def keep(self, job: int) -> Record:
        return self._with_weather(commands.keep, job, by="watch", now=self.now)

    def close(self, job: int, incomplete: str | None = None) -> Record:
        return self._with_weather(
            commands.close, job, by="grower", now=self.now, incomplete=incomplete
        )

    def look(self, job: int) -> Record:
        return self._with_weather(commands.look, job, self.now)

    def _with_weather(self, step: Callable[..., Any], *args: Any, **more: Any) -> Any:
        with self.store.writing() as session:
            weather_of = composing(session, self.farm)
            return step(session, self.plan, weather_of, *args, **more)


def _keys(given: dict[str, str]) -> dict[str, str]:
    """``rate_2`` stands for ``rate.2``, which is no name in Python."""
    return {key.replace("_2", ".2"): text for key, text in given.items()}
