"""The link of an alert acknowledges once, and only as it was made."""

from pathlib import Path

from tests.support.visiting import CALM, Visited, visited
from watcher.jobs import book
from watcher.store import outbox


async def _alert(v: Visited) -> str:
    """Bring about an alert; return the path of the grower's link."""
    watch, clock = v.service.watch, v.service.clock
    with watch.book.store.writing() as session:
        book.start(session, watch.book.plan, "hill", "coarse", clock.at)
    await v.service.judged()
    clock.at += 60
    await v.service.post(**CALM | {"gust": "19 mph"})
    await v.service.judged()
    with watch.book.store.reading() as session:
        message = next(m for m in outbox.newest(session, 10) if m.urgent)
    return "/seen/" + v.links.token(message.short_id, "grower")


def _seen_by(v: Visited) -> set[str | None]:
    with v.service.watch.book.store.reading() as session:
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


async def test_a_replayed_link_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        await v.send(link, link)
        answer = await v.send(link, link)
        assert answer.status_code == 409
        assert "acknowledged before" in answer.text


async def test_a_changed_link_is_refused(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        link = await _alert(v)
        forged = link.replace(".grower.", ".operator.")
        assert (await v.web.get(forged)).status_code == 404
        answer = await v.web.post(forged, data={"form_token": "none"})
        assert answer.status_code == 403
        assert _seen_by(v) == {None}
