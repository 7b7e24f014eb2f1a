"""Laws of a job's story, over random histories of weather and of what its grower does."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from tests.support.written_story import SKIES, WrittenStory
from watcher.judge.job_action import Action
from watcher.store.tables import Outgoing

_SKIES = ("calm", "just inside", "windy", "gusty", "dry and windy", "mast silent", "no humidity")
_WARNING = "measured 9.8 11.0"
_AGAIN_S = 1800
_TITLES = {"Stop": Action.STOP, "Check": Action.CANNOT_SEE, "Get ready": Action.GET_READY}
_OUTSIDE = {"windy", "gusty", "dry and windy"}
assert set(_SKIES) <= set(SKIES)

histories = st.lists(
    st.one_of(
        st.tuples(st.sampled_from(_SKIES), st.sampled_from([1, 2, 5, 11, 35])),
        st.tuples(st.sampled_from(["pause", "resume", _WARNING]), st.just(0)),
    ),
    min_size=3,
    max_size=10,
)


@dataclass(frozen=True)
class Minute:
    """One minute of a history: what the weather was, what to do, and what was told in it."""

    at: int
    sky: str
    action: Action
    messages: list[Outgoing]
    acted: bool
    """Whether the grower paused or went on just before it."""


@contextmanager
def lived(history: list[tuple[str, int]]) -> Iterator[list[Minute]]:
    with tempfile.TemporaryDirectory() as folder:
        story = WrittenStory(Path(folder))
        story.live_on("start hill coarse")
        yield list(_minutes(story, history))
        story.store.close()


def _minutes(story: WrittenStory, history: list[tuple[str, int]]) -> Iterator[Minute]:
    paused, acted, known = False, False, 0
    for step, minutes in history:
        if step in {"pause", "resume"}:
            if paused != (step == "pause"):
                story.live_on(step)
                paused, acted = step == "pause", True
        elif step == _WARNING:
            story.live_on(step)
        for _ in range(minutes):
            story.live_on(f"1 min {step}")
            with story.store.reading() as session:
                of = (Outgoing.id > known, Outgoing.recipient == "driver", Outgoing.tag == "job")
                found = list(session.scalars(select(Outgoing).where(*of).order_by(Outgoing.id)))
            known = max([known, *(m.id for m in found)])
            yield Minute(story.watch.now, step, story.action, found, acted)
            acted = False


@settings(max_examples=6, deadline=None)
@given(histories)
def test_what_is_told_is_what_there_is_to_do(history: list[tuple[str, int]]) -> None:
    with lived(history) as minutes:
        last: dict[str, int] = {}
        stop_said = check_said = False
        for minute in minutes:
            if minute.action is not Action.STOP and minute.action is not Action.WAIT:
                last.pop("Stop", None)
                stop_said = stop_said and minute.action is Action.PAUSED
            if minute.action is not Action.CANNOT_SEE:
                last.pop("Check", None)
            if minute.acted:
                last.clear()
                stop_said = check_said = False
            for message in minute.messages:
                begins = next((b for b in _TITLES if message.title.startswith(b)), None)
                lines = [line for line in message.body.splitlines() if " at most " in line]
                limits = [part.split(" at ")[0] for line in lines for part in line.split("; ")]
                assert len(limits) == len(set(limits)), message.body
                if begins is None:
                    continue
                assert minute.action is _TITLES[begins], (message.title, minute)
                # That a stop's cause cannot be seen any more is said at once.
                hidden = begins == "Stop" and "cannot see" in message.title
                since = minute.at - last.get(begins, 0)
                assert hidden or since >= _AGAIN_S, (message.title, minute)
                last[begins] = minute.at
                stop_said = stop_said or begins == "Stop"
                check_said = check_said or begins == "Check"
            if minute.action is Action.PAUSED:
                continue
            assert minute.sky not in _OUTSIDE or (minute.action is Action.STOP and stop_said)
            if minute.sky == "mast silent":
                assert stop_said or check_said, minute
