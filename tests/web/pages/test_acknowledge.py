"""The link of an alert acknowledges once, and only as it was made."""

from html import unescape
from pathlib import Path

from pydantic import SecretStr

from tests.support import job_steps
from tests.support.visiting import CALM, Visited, visited
from watcher.delivery.acknowledgement import Links
from watcher.store import outbox


async def _alert(v: Visited) -> str:
    """Bring about an alert; return the path of the grower's link."""
    watch, clock = v.service.watch, v.service.clock
    with watch.transactions.store.writing() as session:
        job_steps.start(session, watch.transactions.plan, "hill", "coarse", clock.at)
    await v.service.judged()
    clock.at += 60
    await v.service.post(**CALM | {"gust": "19 mph"})
    await v.service.judged()
    with watch.transactions.store.reading() as session:
        message = next(m for m in outbox.newest(session, 10) if m.urgent)
    return "/seen/" + v.links.token(message.short_id, "grower")


def _seen_by(v: Visited) -> set[str | None]:
    with v.service.watch.transactions.store.reading() as session:
        return {m.acknowledged_by for m in outbox.newest(session, 10) if m.urgent}


async def test_opening_the_link_acknowledges_nothing(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        assert (await v.web.get(link)).status_code == 200
        assert _seen_by(v) == {None}


async def test_the_button_acknowledges_without_a_log_in(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        assert (await v.send(link, link)).status_code == 200
        assert _seen_by(v) == {"grower"}


async def test_a_link_touched_twice_is_answered_as_the_first_time(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        await v.send(link, link)
        answer = await v.send(link, link)
        assert answer.status_code == 200
        assert "Noted: you have seen it" in answer.text


async def test_a_changed_link_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        forged = link.replace(".grower.", ".operator.")
        assert (await v.web.get(forged)).status_code == 404
        answer = await v.web.post(forged, data={"form_token": "none"})
        assert answer.status_code == 403
        assert _seen_by(v) == {None}


async def test_the_page_says_which_alert_it_is_about_without_a_log_in(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        with v.service.watch.transactions.store.reading() as session:
            message = next(m for m in outbox.newest(session, 10) if m.recipient == "grower")
        asked = unescape((await v.web.get(link)).text)
        for page in (asked, unescape((await v.send(link, link)).text)):
            assert message.title in page
            assert message.body.splitlines()[0] in page
            assert "<strong>hill</strong>, said 11:01" in page


async def test_a_link_whose_alert_is_forgotten_says_so(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        page = await v.web.get("/seen/" + v.links.token("ZZZZZ", "grower"))
        assert page.status_code == 200
        assert "cannot be shown" in page.text


async def test_a_link_of_a_lost_secret_says_how_else_to_acknowledge(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        before = Links(SecretStr("a secret that is gone"), "http://127.0.0.1/seen")
        page = await v.web.get("/seen/" + before.token("ABCDE", "grower"))
        assert page.status_code == 404
        said = unescape(page.text)
        assert "lost its file of sessions" in said
        assert "watcher seen" in said
        assert "page of its job" in said
