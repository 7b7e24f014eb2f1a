"""The second language: chosen by the browser, whole, and never laid over anybody's names."""

import re
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po

from tests.support.running import put_forecast
from tests.support.visiting import NOON, visited
from watcher.farm import Farm
from watcher.web import tongue
from watcher.web.access import Role
from watcher.web.tongue import Tongue

WEB = Path(tongue.__file__).parent
PO = WEB / "locale" / "es" / "LC_MESSAGES" / "pages.po"
PAGES = ["/", "/hours", "/log", "/jobs", "/sources", "/devices", "/more"]
_ONLY_NUMBERS = re.compile(r"[-\d.:%° ]+(mph|km/h|ft|m|h|min|s|°F|°C)?")


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("", "en"),
        ("es", "es"),
        ("es-MX,es;q=0.9,en;q=0.8", "es"),
        ("en-US,en;q=0.9,es;q=0.8", "en"),
        ("de,fr;q=0.5", "en"),
        ("de, es;q=0.2", "es"),
        ("*;q=nonsense,,;", "en"),
    ],
)
def test_the_browsers_liking_decides(asked: str, code: str) -> None:
    assert Tongue.of(asked).code == code


def test_the_compiled_catalogue_is_that_of_the_text() -> None:
    with PO.open("rb") as text, PO.with_suffix(".mo").open("rb") as compiled:
        told = {m.id: m.string for m in read_po(text) if m.id}
        assert {m.id: m.string for m in read_mo(compiled) if m.id} == told


def test_every_text_of_the_templates_is_translated() -> None:
    with PO.open("rb") as text:
        told = {m.id for m in read_po(text) if m.id and m.string}
    found = extract_from_dir(
        WEB / "templates",
        method_map=[("**.html", "jinja2")],
        options_map={"**.html": {"extensions": "jinja2.ext.i18n", "trimmed": "true"}},
    )
    texts = {message[2] for message in found}
    assert len(texts) > 100
    assert texts <= told


def test_names_are_not_translated() -> None:
    spanish = Tongue("es")
    assert spanish.say("wind") == "viento"
    said = spanish.say("● fine, suitable: use this; loses no weed control")
    assert said == "● fine, apta: use este; no pierde control de malezas"


def test_a_limit_is_said_with_all_its_numbers() -> None:
    said = Tongue("es").say("Gust 8 mph, bound 15 (own), 7 mph of room")
    assert said == "Ráfaga: 8 mph, límite 15 (propio), margen de 7 mph"


def test_what_nobody_translated_is_said_in_english() -> None:
    assert Tongue("es").say("Something new; wind") == "Something new; viento"


async def test_no_page_says_anything_in_the_first_language(
    tmp_path: Path, example_farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    missed: set[str] = set()
    plain = Tongue.say

    def say(self: Tongue, text: str) -> str:
        said = plain(self, text)
        if said == text and not _ONLY_NUMBERS.fullmatch(text):
            missed.add(text)
        return said

    monkeypatch.setattr(Tongue, "say", say)
    async with visited(tmp_path, of=example_farm, calm=False) as v:
        for source in example_farm.told.sources:
            put_forecast(v.service.watch.book.store, NOON, source, wind_m_s=3.2, gust_m_s=5.0)
        await v.service.judged()
        v.web.headers["Accept-Language"] = "es"
        v.log_in(Role.ADMINISTER)
        fields = [
            f"/fields/{field}?at={NOON + hours * 3600}"
            for field in example_farm.told.fields
            for hours in (0, 5, 14)
        ]
        for page in [*PAGES, *fields]:
            answer = await v.web.get(page)
            assert answer.status_code == 200
            assert '<html lang="es"' in answer.text
    assert missed == set()
