"""A hundred broken inputs: each answered in place with its mend, what was typed kept."""

import json
import re
from collections.abc import AsyncIterator
from html import unescape
from pathlib import Path

import pytest
from pydantic import SecretStr

from tests.support.broken_inputs import FIRST_VISIT, PAGES
from tests.support.farm_files import written
from tests.support.farm_forms import look
from tests.support.farms import watched_tables
from tests.support.visiting import Visited, visited
from tests.web.first_visit.conftest import Site, site
from tests.web.first_visit.test_app import TOLD
from watcher.service.kept_secrets import SecretKind, Secrets
from watcher.web.auth.users import Role

__all__ = ["site"]
pytestmark = pytest.mark.long

STATION = json.dumps({"time": "2026-06-10T16:00:00Z", "windspeedmph": 4.3, "winddir": 200})


def wrong_with(page: str, name: str, value: str, given: str) -> list[str]:
    """What an answer lacks of naming the field, saying the mend and keeping what was typed."""
    text = unescape(page)
    errors = dict(re.findall(r'id="e-([^"]*)">(.*?)</p>', text, re.DOTALL))
    above = re.search(r'<div class="wrong" role="alert">(.*?)</div>', text, re.DOTALL)
    # Of two that belong together the one that is missing may be the one at fault.
    beside = errors.get(name, "; ".join(errors.values()))
    elsewhere = above[1] if above else ""
    lacks = []
    if not errors and "<li>" not in elsewhere:
        lacks.append("the field is not named")
    if given not in beside + elsewhere:
        lacks.append(f"no mend in {beside!r} {elsewhere!r}")
    if name == "address":  # a secret: never shown again, which is said
        if value in text or "is not shown again: type it anew" not in text:
            lacks.append("what was typed is shown, or it does not say that it is not")
        return lacks
    if value and value.replace("\n", "") not in text.replace("\r", "").replace("\n", ""):
        lacks.append("what was typed is lost")
    if "What you typed is all still here" not in text:
        lacks.append("it does not say that nothing was changed")
    return lacks


@pytest.fixture
async def pages(tmp_path: Path) -> AsyncIterator[Visited]:
    tables = watched_tables()
    tables["products"] = {"a": {"name": "Product A (invented)", "registration": "0-0"}}
    async with visited(tmp_path, farm_file=written(tmp_path, tables), calm=False) as v:
        v.log_in(Role.ADMINISTER)
        yield v


def test_they_are_a_hundred_and_no_two_the_same() -> None:
    assert len({one[:3] for one in (*FIRST_VISIT, *PAGES)}) >= 100


async def test_those_of_the_first_visit(site: Site) -> None:
    for screen, found in TOLD.items():
        assert (await site.tell(screen, **found)).status_code == 303
    given = {"grower": SecretStr("json://127.0.0.1:1/phone")}
    site.visit.secrets = Secrets(None, {SecretKind.PUSH: given})
    whole = {**TOLD, "station": {"sent": STATION}, "phone": {}}
    failed = {}
    for screen, name, value, found in FIRST_VISIT:
        before = site.visit.farm.texts
        beside = {"new_name": "ana"} if name == "address" else whole[screen]
        answer = await site.tell(screen, **(dict(beside) | {name: value}))
        lacks = wrong_with(answer.text, name, value, found)
        if answer.status_code != 422:
            lacks.append(f"answered {answer.status_code}")
        if site.visit.farm.texts != before:
            lacks.append("something was saved")
        if lacks:
            failed[screen, name, value] = lacks
    assert failed == {}


async def test_those_of_the_watchs_pages(pages: Visited) -> None:
    in_use = pages.service.watch.farm_in_use
    assert in_use is not None
    before, failed = in_use.editor.texts(), {}
    for path, name, value, found in PAGES:
        answer = await look(pages, path, **{name: value})
        lacks = wrong_with(answer.text, name, value, found)
        if answer.status_code != 422:
            lacks.append(f"answered {answer.status_code}")
        if lacks:
            failed[path, name, value] = lacks
    assert failed == {}
    assert in_use.editor.texts() == before
