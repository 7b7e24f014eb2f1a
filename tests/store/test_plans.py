"""Plans of the day in the log, and what was said of them: once a key, and old ones go."""

from watcher.store import plans
from watcher.store.database import Database

DAY = 86_400
AT = 1_781_107_200


def test_the_newest_plan_of_a_moment_is_found(log: Database) -> None:
    with log.writing() as session:
        first = plans.put(session, AT, {"n": 1})
        second = plans.put(session, AT + 60, {"n": 2})
    with log.reading() as session:
        assert plans.newest(session, AT - 1) is None
        assert plans.newest(session, AT).id == first
        assert plans.newest(session, AT + DAY).content == {"n": 2}
        assert plans.of_number(session, second).made_at == AT + 60


def test_old_plans_go_but_those_that_were_accepted(log: Database) -> None:
    with log.writing() as session:
        accepted, _ = (plans.put(session, AT, {"n": n}) for n in (1, 2))
        plans.say(session, "accepted", by="driver", key="a", at=AT, content={}, plan=accepted)
        plans.put(session, AT + 15 * DAY, {"n": 3})
    with log.reading() as session:
        assert plans.newest(session, AT + DAY).id == accepted


def test_what_is_said_under_a_key_counts_once_for_whoever_said_it(log: Database) -> None:
    with log.writing() as session:
        said = {"what": "wishes", "key": "k", "at": AT}
        assert plans.say(session, by="driver", content={"n": 1}, **said)
        assert not plans.say(session, by="driver", content={"n": 2}, **said)
        assert plans.say(session, by="robot", content={"n": 3}, **said)
    with log.reading() as session:
        assert plans.of_key(session, "driver", "k").content == {"n": 1}
        assert plans.last_said(session, "wishes", AT).content == {"n": 3}
        assert plans.last_said(session, "wishes", AT - 1) is None
        assert plans.last_said(session, "accepted", AT) is None
