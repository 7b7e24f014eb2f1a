"""The play: the day in steps, the real service in the middle of it."""

import asyncio
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from demo import day
from demo.clock import FastClock
from demo.feed import feed
from demo.grower import WEIGHS_AT, Grower
from demo.phone import Push, phones
from demo.screen import Screen
from demo.service import FEED, TOKEN, Service, running
from demo.station import Station
from watcher.farm import Farm
from watcher.farm.load import load
from watcher.messages.brief import morning_brief
from watcher.planning.day_plan import Wishes
from watcher.service.chances import work_out
from watcher.service.day_plan import with_plan, worked_out
from watcher.service.snapshot import Snapshot
from watcher.store.database import Database

FARM = Path(__file__).with_name("farm.toml")

START, END = day.at(5), day.at(20.5)
_MINUTE_S = 60
# Until when, in steps of how many minutes: small ones where something happens, and none over 15,
# for then the station would count as silent.
_LEGS = (
    (day.at(9), 15),
    (day.at(10), 5),
    (day.at(11), 1),
    (day.at(12), 5),
    (day.at(18), 15),
    (day.at(19), 5),
    (day.at(19.25), 1),
    (END, 15),
)
_POSTED_BEFORE_S = 3600
_ASKED_EVERY_S, _ASKED_AT_S = 1800, 900
_NEVER_S = 1e6
_STEPPING_SHARE = 0.75
_MESSAGES = 18
"""About how many there are: each is left to be read for an equal part of the rest of the time."""
_FRONT = "(A gust front that no forecast knew of reaches the farm.)"
_PLANS_AT = {
    day.at(9.25): "In the calm of the morning",
    day.at(14): "In the breeze of the afternoon",
    END: "In the inversion of the evening",
}


async def play(log: Database, screen: Screen, seconds: float) -> Sequence[Push]:
    """Play the day in about so many seconds, stop everything, and return what the phones got."""
    moments = tuple(_moments())
    step_s = _STEPPING_SHARE * seconds / len(moments)
    reading_s = (1.0 - _STEPPING_SHARE) * seconds / _MESSAGES
    clock = FastClock(START)
    with feed(clock.now) as feed_url, phones(clock.now, screen.shows) as found:
        async with running(_farm(feed_url), log, clock, found) as service:
            grower, heard = Grower(service.watch, screen), 0
            async with Station(service.url, TOKEN, first=START - _POSTED_BEFORE_S) as station:
                due = time.monotonic()
                for now in moments:
                    clock.move_on(now)
                    if now == WEIGHS_AT:
                        await service.chances_known(now)
                    await grower.looks(now, found.arrived[heard:])
                    heard = len(found.arrived)
                    await station.post(now)
                    if now % _ASKED_EVERY_S == _ASKED_AT_S:
                        await service.watch.ask(FEED)
                    await service.settled()
                    await _show(service, screen, now)
                    due += step_s + reading_s * (len(found.arrived) - heard)
                    await asyncio.sleep(due - time.monotonic())
            await grower.goes_home(END)
            await service.settled()
    return found.arrived


def _moments() -> Iterator[int]:
    begin = START
    yield begin
    for until, minutes in _LEGS:
        step = minutes * _MINUTE_S
        yield from range(begin + step, until + 1, step)
        begin = until


def _farm(feed_url: str) -> Farm:
    """The demo's farm, its feed asked where it answers today.

    The service's schedule goes by the machine's clock, so it is left to ask once, at the start;
    then the play has it ask by the farm's clock.
    """
    farm = load(FARM)
    found = farm.config.sources[FEED].model_copy(update={"base_url": feed_url, "every": _NEVER_S})
    sources = dict(farm.config.sources) | {FEED: found}
    return replace(farm, config=farm.config.model_copy(update={"sources": sources}))


async def _show(service: Service, screen: Screen, now: int) -> None:
    if now == day.FRONT_AT:
        screen.happens(now, _FRONT)
    snapshot = service.watch.snapshot
    if now in _PLANS_AT and snapshot is not None:
        lines = await asyncio.to_thread(_plan, service, snapshot)
        screen.happens(now, f"{_PLANS_AT[now]} the plan of the day is:", lines)


def _plan(service: Service, snapshot: Snapshot) -> list[str]:
    """Work the plan out as ``watcher plan`` does: at this speed the watch keeps none."""
    speaker = service.watch.transactions.post.speaker
    with service.watch.transactions.store.reading() as session:
        chances = work_out(session, snapshot.judgement.plan, snapshot.timeline)
        plan = worked_out(session, snapshot, chances, Wishes())
    ranking = with_plan(snapshot.ranking, plan)
    brief = morning_brief(
        speaker, snapshot.judgement, ranking, snapshot.timeline, due_at=plan.now, plan=plan
    )
    return [str(line) for line in brief.lines]
