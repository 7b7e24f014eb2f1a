"""How far back what people did and what did not arrive still counts."""

import pytest

from tests.support.farms import build, tables
from tests.support.skies import MORNING, judged, timeline
from watcher.alerts.context import AlertContext
from watcher.alerts.gather import gather
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.reasons import Speaker
from watcher.store import outbox
from watcher.store.database import Database
from watcher.store.outbox import NewMessage
from watcher.store.tables import Outgoing

HOUR = 3600
FARM = build(tables())


def put(store: Database, key: str, *, at: int) -> None:
    message = NewMessage(
        key=key,
        short_id=key,
        about="job:1",
        kind="stop",
        recipient="grower",
        title="title",
        body="body",
        created_at=at,
        caused_at=at,
        due_at=at,
        urgent=True,
    )
    with store.writing() as session:
        outbox.put(session, message)


def seen(store: Database) -> AlertContext:
    look = timeline(now=MORNING)
    judgement, ranking = judged(FarmArrays.of(FARM), look)
    with store.writing() as session:
        return gather(session, Speaker(FARM), judgement, look, ranking, begun=None)


@pytest.mark.parametrize(("ago_s", "counts"), [(3 * HOUR, True), (3 * HOUR + 1, False)])
def test_an_answer_counts_for_three_hours(store: Database, ago_s: int, counts: bool) -> None:
    put(store, "AAAAA", at=MORNING - ago_s)
    with store.writing() as session:
        outbox.acknowledge(session, "AAAAA", "grower", MORNING - ago_s)
    assert seen(store).acknowledged == ({"job:1": MORNING - ago_s} if counts else {})


@pytest.mark.parametrize(
    ("ago_s", "attempts", "out"),
    [
        (24 * HOUR, 4, True),
        (24 * HOUR + 1, 4, False),  # nobody knows any more
        (HOUR, 3, False),  # a hiccup of the network
    ],
)
def test_who_was_not_reached_in_four_attempts_of_a_day_is_out_of_reach(
    store: Database, ago_s: int, attempts: int, out: bool
) -> None:
    put(store, "AAAAA", at=MORNING - ago_s)
    with store.writing() as session:
        row = session.query(Outgoing).one()
        row.attempts, row.last_error = attempts, "no answer"
    assert seen(store).out_of_reach == ({"grower": "no answer"} if out else {})
