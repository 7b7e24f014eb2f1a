"""Lives a story written down in a small text, and writes down beside it whatever was told.

A line that is not indented is what happens, one step a line; indented lines are the messages that
came of it, whole and in each recipient's language. ``not`` is a pattern that no message of the
story may hold, ``most`` how many messages somebody may get.
So a story is right when what is written down anew is the file.
"""

import re
from collections.abc import Iterator, Mapping
from datetime import datetime, time
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import select

from tests.support import job_steps
from tests.support.farms import build, tables
from tests.support.minutes import MINUTE, Minutes
from tests.support.new_log import new_log
from tests.support.quick_skies import QuickSkies
from watcher.alerts import cycle
from watcher.judge.job_action import Action, JobAction
from watcher.limits.farm_arrays import FarmArrays
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.tables import Outgoing

_AHEAD = np.arange(72)
SKIES: Mapping[str, Mapping[str, Any]] = {
    "calm": {"wind_mph": 6.0, "gust_mph": 9.0},
    "brisk": {"wind_mph": 9.0, "gust_mph": 13.0},
    "just inside": {"wind_mph": 9.8},
    "windy": {"wind_mph": 12.0, "gust_mph": 14.0},
    "hardly windy": {"wind_mph": 10.02, "gust_mph": 12.0},
    "windy till 4": {"wind_mph": np.where(_AHEAD < 5, 12.0, 6.0), "gust_mph": 14.0},
    "windy for days": {"wind_mph": 12.0, "gust_mph": 14.0},
    "gusty": {"wind_mph": 8.0, "gust_mph": 19.0},
    "gusty till noon": {"wind_mph": 8.0, "gust_mph": np.where(_AHEAD < 1, 19.0, 9.0)},
    "gusty and nearly calm": {"wind_mph": 3.4, "gust_mph": 19.0},
    "storm": {"wind_mph": 14.0, "gust_mph": 22.0},
    "too calm": {"wind_mph": 2.0, "gust_mph": 4.0},
    "from the south": {"wind_mph": 7.0, "gust_mph": 9.0, "wind_from_deg": 180.0},
    "dry": {"temp_c": 36.0, "humidity_pct": 15.0},
    "dry and windy": {"temp_c": 36.0, "humidity_pct": 15.0, "wind_mph": 12.0},
    "rain in 3 h": {"rain_mm_h": np.where(_AHEAD >= 4, 1.0, 0.0)},
    "rained": {"rain_mm_h": np.where(_AHEAD < 1, 1.0, 0.0)},
    "mast silent": {"wind_mph": np.nan, "gust_mph": np.nan, "wind_age_s": 960.0},
    "no gusts": {"gust_mph": np.nan},
    "no humidity": {"humidity_pct": np.nan},
    "no humidity, windy": {"humidity_pct": np.nan, "wind_mph": 12.0},
}
RECIPIENTS = {
    "driver": {"hears": ["job"], "quiet_hours": {"start": time(21), "end": time(5, 30)}},
    "mate": {
        "hears": ["job"],
        "form": "sms",
        "language": "es",
        "backup": "helper",
        "backup_after": "5 min",
    },
    "helper": {"hears": ["brief"], "form": "sms"},
}
_FARM = build(tables() | {"recipients": RECIPIENTS})
_PLAN = FarmArrays.of(_FARM)
_QUICK = QuickSkies(_PLAN, SKIES)
_CAUTION = "Guidance only."
_LONG = 100
"""So many minutes of one sky are lived five at a time."""
_REF = re.compile(r"\s*[\[(][A-Z2-7]{5}[\])]")


class WrittenStory:
    """One story being lived over one log."""

    def __init__(self, folder: Path) -> None:
        self._url = f"sqlite:///{folder / 'watch.db'}"
        self.store = new_log(folder / "watch.db", lasting=False)
        self.watch = Minutes(self.store, _FARM)
        self._written = 0
        self._actions: Mapping[int, JobAction] = {}
        self._job = 0

    @property
    def action(self) -> Action:
        """What there is to do with the job begun last, as of the last minute."""
        return self._actions[self._job].action

    def live(self, text: str) -> str:
        """Do every step of a story; returns it with what was told."""
        lines: list[str] = []
        for line in text.splitlines():
            if line.startswith(" "):
                continue
            lines.append(line)
            if line and not line.startswith(("#", "not ", "most ")):
                self.live_on(line)
                lines += self._messages()
        self.store.close()
        return "\n".join(lines) + "\n"

    def live_on(self, line: str) -> None:
        """Do one step."""
        if timed := re.fullmatch(r"(\d+) min (.+)", line):
            minutes = int(timed[1])
            for _ in range(0, minutes, stride := 5 if minutes >= _LONG else 1):
                self._pass(stride, timed[2])
            return
        what, *words = line.split(" ")
        now = self.watch.now
        match what:
            case "start":
                self._job = self.watch.start(words[0], words[1])
            case "pause" | "resume" | "finish":
                job = int(words[0]) if words else self._job
                with self.store.writing() as session:
                    getattr(job_steps, what)(session, job, now)
            case "changes":
                with self.store.writing() as session:
                    job_steps.change_setup(session, _PLAN, self._job, words[0], now)
            case "seen":
                with self.store.writing() as session:
                    outbox.acknowledge(
                        session, outbox.newest(session, 1)[0].short_id, words[-1], now
                    )
            case "measured":
                wind, gust = float(words[0]), float(words[1])
                self.watch.measure(np.full(70, wind), np.full(70, gust))
            case "restarted":
                self.store.close()
                self.store = self.watch.store = Database(self._url, lasting=False)
            case "clock":
                self.watch.now += MINUTE * int(words[0])
            case _:
                raise ValueError(f"no such step of a story: {line!r}")

    def _pass(self, minutes: int, sky: str) -> None:
        self.watch.now += minutes * MINUTE
        with self.store.writing() as session:
            done = cycle.run(session, self.watch.post, *_QUICK.at(self.watch.now, sky))
        self._actions = done.actions
        self.watch.deliver()

    def _messages(self) -> Iterator[str]:
        with self.store.reading() as session:
            of = (Outgoing.id > self._written, Outgoing.tag == "job")
            messages = list(session.scalars(select(Outgoing).where(*of).order_by(Outgoing.id)))
        for message in messages:
            self._written = message.id
            body = _REF.sub("", message.body).splitlines()
            first, *rest = [message.title, *body] if message.title else body
            at = datetime.fromtimestamp(message.created_at, _FARM.zone)
            held = "" if message.due_at <= message.created_at else " (held back)"
            yield f"  {at:%H:%M} {message.recipient}{held}: {first}"
            yield from (f"    {line}" for line in rest if line and not line.startswith(_CAUTION))


def never(text: str) -> list[str]:
    """What nobody may be told in a story."""
    return [line.removeprefix("not ") for line in text.splitlines() if line.startswith("not ")]


def most(text: str) -> list[tuple[int, str]]:
    """How many messages of a story each may get."""
    found = re.findall(r"^most (\d+) (\w+)$", text, re.MULTILINE)
    return [(int(count), name) for count, name in found]


def messages(text: str) -> list[str]:
    """Every message of a story, whole."""
    found: list[str] = []
    for line in text.splitlines():
        if line.startswith("    "):
            found[-1] += f" {line.strip()}"
        elif line.startswith("  "):
            found.append(line.strip())
    return found
