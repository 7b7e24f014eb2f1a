"""An access with an end: then, or when it is withdrawn, all that hangs on it stops at once."""

import json
import re
import sqlite3
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import SecretStr

from tests.support.running import SetClock
from tests.support.visiting import LOOKER, NOON, Visited, visited
from watcher.delivery.addressees import Subscription
from watcher.web.auth.sessions import GUEST_LINK_S, IDLE_S, SessionStore
from watcher.web.auth.users import Role, User, Users

BOSS = User("boss", Role.ADMINISTER)
UNTIL = NOON + 3600
PHONE = Subscription("https://push.example/phone", json.dumps({"p256dh": "", "auth": ""}))


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOON)


@pytest.fixture
def sessions(clock: SetClock) -> Iterator[SessionStore]:
    sessions = SessionStore(None, now=clock.now)
    yield sessions
    sessions.close()


def _in(sessions: SessionStore, *, role: Role = Role.RUN, until: int = UNTIL) -> tuple[int, str]:
    """Let a helper in; returns the number of the access, and the token of their device."""
    guest = sessions.invite("helper", role, until, by=BOSS, now=NOON)
    user = sessions.use_link(sessions.guest_link(guest, NOON), NOON)
    assert user is not None
    return guest.number, sessions.open(user, NOON, by_link=True)


def test_a_session_is_over_with_its_access_and_says_since_when(sessions: SessionStore) -> None:
    _, token = _in(sessions)
    before, after = (sessions.session(token, at) for at in (UNTIL - 1, UNTIL))
    assert before is not None
    assert (before.over(UNTIL - 1), before.user.name, before.user.role) == (
        False,
        "helper",
        Role.RUN,
    )
    assert after is not None
    assert (after.over(UNTIL), after.until) == (True, UNTIL)
    assert sessions.sessions(UNTIL - 1)
    assert sessions.sessions(UNTIL) == []


def test_devices_take_no_pushes_from_the_end_on(sessions: SessionStore, clock: SetClock) -> None:
    _, token = _in(sessions)
    session = sessions.session(token, NOON)
    assert session is not None
    sessions.subscribe(session.number, PHONE)
    clock.at = UNTIL - 1
    assert list(sessions.devices) == [PHONE.name]
    clock.at = UNTIL
    assert sessions.devices == {}
    assert sessions.was_shut_out(PHONE.name)


def test_calendars_and_links_end_with_it(sessions: SessionStore) -> None:
    number, _ = _in(sessions)
    sessions.make_calendar("helper", NOON, guest=number)
    sessions.make_calendar("boss", NOON)
    [feed], [other] = sessions.calendars("helper"), sessions.calendars("boss")
    assert sessions.read_calendar(feed.id, "helper", UNTIL - 1)
    assert not sessions.read_calendar(feed.id, "helper", UNTIL)
    assert sessions.read_calendar(other.id, "boss", UNTIL)
    guest = sessions.guest(number)
    assert guest is not None
    late = sessions.guest_link(guest, UNTIL - 10)
    assert sessions.use_link(late, UNTIL) is None


def test_a_link_is_good_once_and_for_a_day_at_most(sessions: SessionStore) -> None:
    guest = sessions.invite("helper", Role.LOOK, NOON + 10 * 86_400, by=BOSS, now=NOON)
    link = sessions.guest_link(guest, NOON)
    assert sessions.use_link(link, NOON + GUEST_LINK_S) == User("helper", Role.LOOK, guest.number)
    assert sessions.use_link(link, NOON + GUEST_LINK_S) is None
    late = sessions.guest_link(guest, NOON)
    assert sessions.use_link(late, NOON + GUEST_LINK_S + 1) is None


def test_withdrawn_all_of_it_ends_at_once_and_nobody_elses(
    sessions: SessionStore, clock: SetClock
) -> None:
    number, token = _in(sessions)
    session = sessions.session(token, NOON)
    assert session is not None
    sessions.subscribe(session.number, PHONE)
    sessions.make_calendar("helper", NOON, guest=number)
    guest = sessions.guest(number)
    assert guest is not None
    link, mine = sessions.guest_link(guest, NOON), sessions.open(BOSS, NOON, by_link=True)
    clock.at = NOON + 60
    assert sessions.withdraw(number, by="boss", now=NOON + 60)
    assert not sessions.withdraw(number, by="boss", now=NOON + 61)
    assert sessions.use_link(link, NOON + 60) is None
    assert sessions.devices == {}
    assert sessions.calendars("helper") == []
    assert [one.user for one in sessions.sessions(NOON + 60)] == [BOSS]
    assert sessions.session(mine, NOON + 60) is not None
    ended = sessions.session(token, NOON + 60)
    assert ended is not None
    assert ended.until == NOON + 60
    [gone] = sessions.guests()
    assert gone.withdrawn_by == "boss"


def test_what_a_guest_lets_in_ends_with_the_guest_and_may_no_more(sessions: SessionStore) -> None:
    number, _ = _in(sessions, role=Role.RUN)
    link = sessions.make_link(User("tablet", Role.ADMINISTER, number), NOON)
    user = sessions.use_link(link, NOON)
    assert user is not None
    token = sessions.open(user, NOON, by_link=True)
    tablet = sessions.session(token, NOON)
    assert tablet is not None
    assert (tablet.user.name, tablet.user.role) == ("tablet", Role.RUN)
    over = sessions.session(token, UNTIL)
    assert over is not None
    assert over.over(UNTIL)


def test_a_file_from_before_gains_the_columns_and_keeps_its_sessions(tmp_path: Path) -> None:
    file = tmp_path / "door.db"
    old = SessionStore(file)
    token = old.open(BOSS, NOON, by_link=True)
    old.make_calendar("boss", NOON)
    old.close()
    with sqlite3.connect(file) as before:
        before.execute("DROP TABLE guest")
        for table in ("session", "link", "calendar"):
            before.execute(f"ALTER TABLE {table} DROP COLUMN guest")
    before.close()
    new = SessionStore(file)
    session = new.session(token, NOON)
    assert session is not None
    assert (session.user, session.until) == (BOSS, None)
    assert len(new.calendars("boss")) == 1
    assert new.invite("helper", Role.LOOK, UNTIL, by=BOSS, now=NOON).number == 1
    new.close()


def test_what_is_long_over_is_forgotten(sessions: SessionStore) -> None:
    _, token = _in(sessions)
    later = UNTIL + IDLE_S + 1
    sessions.invite("other", Role.LOOK, later + 9, by=BOSS, now=later)
    assert [guest.name for guest in sessions.guests()] == ["other"]
    assert sessions.session(token, later) is None


@given(
    ends=st.lists(st.tuples(st.integers(1, 50), st.none() | st.integers(0, 60)), max_size=4),
    at=st.integers(0, 70),
)
@settings(max_examples=40)
def test_at_any_moment_only_who_has_access_is_in(
    ends: list[tuple[int, int | None]], at: int
) -> None:
    clock = SetClock(NOON)
    sessions = SessionStore(None, now=clock.now)
    known, expected = [], set()
    for number, (until, _) in enumerate(ends):
        name = f"helper {number}"
        guest = sessions.invite(name, Role.LOOK, NOON + until, by=BOSS, now=NOON)
        user = sessions.use_link(sessions.guest_link(guest, NOON), NOON)
        assert user is not None
        token = sessions.open(user, NOON, by_link=True)
        session = sessions.session(token, NOON)
        assert session is not None
        phone = Subscription(f"https://push.example/{number}", PHONE.keys)
        sessions.subscribe(session.number, phone)
        known.append((guest, token, phone))
    for step, (guest, _, _) in sorted(
        ((w, k) for (_, w), k in zip(ends, known, strict=True) if w is not None and w <= at),
        key=lambda pair: pair[0],
    ):
        sessions.withdraw(guest.number, by="boss", now=NOON + step)
    clock.at = NOON + at
    for (until, withdrawn), (guest, _, _) in zip(ends, known, strict=True):
        if at < until and (withdrawn is None or withdrawn > at):
            expected.add(guest.name)
    found = [sessions.session(token, clock.at) for _, token, _ in known]
    assert {s.user.name for s in found if s is not None and not s.over(clock.at)} == expected
    assert {s.user.name for s in sessions.sessions(clock.at)} == expected
    assert {device.user for device in sessions.devices.values()} == expected
    sessions.close()


# Over HTTP.

_LINK = re.compile(r"/login/([\w-]+)")


async def invite(
    v: Visited, name: str = "helper", role: str = "run", day: str = "2026-06-10"
) -> str:
    """Invite somebody on the page, as an administrator; returns the link's path."""
    v.log_in(Role.ADMINISTER)
    answer = await v.send("/people", "/people", name=name, role=role, last_day=day)
    assert answer.status_code == 200, answer.text
    found = _LINK.search(answer.text)
    assert found
    return found[0]


async def come_in(v: Visited, link: str) -> str:
    """Use a link; returns the token of the device."""
    v.web.cookies.clear()
    assert (await v.send(link, link)).status_code == 303
    return v.web.cookies["watcher"]


async def test_a_helper_runs_jobs_until_the_day_is_over_and_then_is_told_so(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        token = await come_in(v, await invite(v))
        assert "Your access ends 23:59" in (await v.web.get("/more")).text
        started = await v.send("/fields/hill", "/jobs", field="hill", setup="coarse")
        assert started.status_code in {303, 409}
        v.service.clock.at = NOON + 13 * 3600  # the first second of the next day
        v.web.cookies.set("watcher", token, domain="127.0.0.1")
        for path in ("/", "/jobs", "/farm", "/devices", "/records"):
            answer = await v.web.get(path)
            assert answer.status_code == 403, path
            assert "Your access has ended" in answer.text
            assert answer.headers["clear-site-data"] == '"cache", "storage"'
            assert "hill" not in answer.text
        asked = await v.web.get("/api/v1/ranking")
        assert asked.status_code == 403
        assert "ended" in asked.json()["wrong"]
        assert (await v.web.get("/login")).status_code == 200


async def test_the_page_lists_who_has_access_until_when_and_ends_it(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        token = await come_in(v, await invite(v, "Ana María", "look", "2026-06-12"))
        v.log_in(Role.ADMINISTER)
        page = unescape((await v.web.get("/people")).text)
        assert "Ana María" in page
        assert "until Fri 23:59" in page
        assert "1 device, last used 11:00" in page
        assert "driver" in page
        assert "from the settings of the watch: changed there, not here" in page
        assert "robot" in page
        assert (await v.send("/people", "/people/1/withdraw")).status_code == 303
        page = unescape((await v.web.get("/people")).text)
        assert "Ana María: ended 11:00 by grower" in page
        v.web.cookies.set("watcher", token, domain="127.0.0.1")
        assert "Your access has ended" in (await v.web.get("/")).text


async def test_another_link_lets_another_device_in_for_the_same_time(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await invite(v)
        again = await v.send("/people", "/people/1/link")
        found = _LINK.search(again.text)
        assert found
        await come_in(v, found[0])
        v.service.clock.at = NOON + 13 * 3600
        assert (await v.web.get("/")).status_code == 403
        v.log_in(Role.ADMINISTER)
        assert (await v.send("/people", "/people/1/link")).status_code == 404


@pytest.mark.parametrize(
    ("expected", "said"),
    [
        ({"name": ""}, "Write a name of 1 to 40 letters"),
        ({"name": "x" * 41}, "Write a name of 1 to 40 letters"),
        ({"name": "driver"}, "comes in already"),
        ({"name": "DRIVER"}, "comes in already"),
        ({"name": "robot"}, "comes in already"),
        ({"name": "grower"}, "comes in already"),
        ({"last_day": ""}, "Choose the last day"),
        ({"last_day": "soon"}, "Choose the last day"),
        ({"last_day": "2026-06-09"}, "a day from today to a year from now"),
        ({"last_day": "2027-06-30"}, "a day from today to a year from now"),
    ],
)
async def test_what_cannot_be_is_said_beside_it(
    tmp_path: Path, expected: dict[str, str], said: str
) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.ADMINISTER)
        asked = {"name": "Ana", "role": "look", "last_day": "2026-06-12"} | expected
        answer = await v.send("/people", "/people", **asked)
        assert answer.status_code == 422
        assert said in unescape(answer.text)
        assert "/login/" not in answer.text
        assert v.sessions.guests() == []


async def test_who_has_an_end_lets_nobody_in_for_longer(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await come_in(v, await invite(v, role="administer"))
        content = {"name": "friend", "role": "look"}
        longer = await v.send("/people", "/people", last_day="2026-06-11", **content)
        assert "Your own access ends before" in longer.text
        link = await v.send("/devices", "/devices/link", name="tablet", role="administer")
        found = _LINK.search(link.text)
        assert found
        await come_in(v, found[0])
        assert (await v.web.get("/people")).status_code == 200
        v.service.clock.at = NOON + 13 * 3600
        assert (await v.web.get("/people")).status_code == 403


async def test_the_calendar_of_a_helper_stops_at_the_end(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await come_in(v, await invite(v))
        await v.send("/plan", "/calendars")
        found = re.search(
            r"http://127.0.0.1(/calendar/[^<\"\s]+\.ics)", (await v.web.get("/plan")).text
        )
        assert found
        address = unescape(found[1])
        stranger = httpx.AsyncClient(base_url=v.web.base_url)
        async with stranger:
            assert (await stranger.get(address)).status_code == 200
            v.service.clock.at = NOON + 13 * 3600
            assert (await stranger.get(address)).status_code == 404


async def test_an_open_page_is_told_that_it_is_out(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        await come_in(v, await invite(v))
        async with v.web.stream("GET", "/live") as live:
            lines = live.aiter_lines()
            async for line in lines:
                if line.startswith("event: judged"):
                    break
            v.sessions.withdraw(1, by="boss", now=v.service.clock.at)
            v.service.watch.wake()
            events = [line async for line in lines if line.startswith("event")]
        assert events[-1] == "event: out"


async def test_programs_of_the_settings_have_no_end(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.service.clock.at += 400 * 86_400
        headers = {"Authorization": f"Bearer {LOOKER}"}
        assert (await v.web.get("/api/v1/health", headers=headers)).status_code == 200


async def test_a_last_day_is_changed_by_who_administers(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.ADMINISTER)
        now = v.service.clock.now()
        guest = v.sessions.invite("helper", Role.RUN, now + 3600, by=BOSS, now=now)
        path = f"/people/{guest.number}/last-day"
        later = await v.send("/people", path, last_day="2026-06-20")
        assert (later.status_code, later.headers["location"]) == (303, "/people")
        page = unescape((await v.web.get("/people")).text)
        assert 'name="last_day" type="date" value="2026-06-20"' in page
        changed = v.sessions.guest(guest.number)
        assert changed is not None
        assert changed.until == 1_782_017_999  # the end of that day in Chicago
        sooner = await v.send("/people", path, last_day="2026-06-10")
        assert sooner.status_code == 303
        for day in ("2026-06-09", "2028-01-01", "never"):
            refused = await v.send("/people", path, last_day=day)
            assert refused.status_code == 422
            assert 'aria-describedby="e-' in refused.text
        v.sessions.withdraw(guest.number, by="boss", now=now)
        assert (await v.send("/people", path, last_day="2026-06-20")).status_code == 404


def test_a_link_ends_no_later_than_an_access_that_was_shortened(sessions: SessionStore) -> None:
    guest = sessions.invite("helper", Role.RUN, UNTIL, by=BOSS, now=NOON)
    link = sessions.guest_link(guest, NOON)
    assert sessions.change_end(guest.number, NOON + 60, now=NOON)
    assert sessions.use_link(link, NOON + 61) is None


async def test_a_guest_gives_nobody_a_later_day_than_their_own(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        now = v.service.clock.now()
        owner = v.sessions.invite("deputy", Role.ADMINISTER, now + 86_400, by=BOSS, now=now)
        helper = v.sessions.invite("helper", Role.RUN, now + 3600, by=BOSS, now=now)
        user = v.sessions.use_link(v.sessions.guest_link(owner, now), now)
        assert user is not None
        v.web.cookies.set("watcher", v.sessions.open(user, now, by_link=True), domain="127.0.0.1")
        refused = await v.send(
            "/people", f"/people/{helper.number}/last-day", last_day="2026-06-20"
        )
        assert refused.status_code == 422
        assert "Your own access ends before" in refused.text


async def test_an_ended_token_is_answered_with_problem_details(tmp_path: Path) -> None:
    token = "a-token-that-has-ended-long-ago"
    access = Users(programs={"robot": SecretStr(f"administer until 2026-06-01:{token}")})
    async with visited(tmp_path, access=access) as v:
        headers = {"Authorization": f"Bearer {token}"}
        for method, path in (
            ("GET", "/api/v1/ranking"),
            ("POST", "/api/v1/jobs"),
            ("GET", "/metrics"),
        ):
            answer = await v.web.request(method, path, headers=headers)
            assert answer.status_code == 401
            assert answer.headers["content-type"] == "application/problem+json"
            assert "this token ended" in answer.json()["detail"]
            assert answer.headers["www-authenticate"].startswith("Bearer")
        v.log_in(Role.ADMINISTER)
        assert "its token ended" in (await v.web.get("/people")).text
