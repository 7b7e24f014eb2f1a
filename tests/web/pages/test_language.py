"""Pages and answers in the reader's language: whole, and never laid over anybody's names."""

from pathlib import Path

import pytest

from tests.support.running import put_forecast
from tests.support.visiting import NOON, visited
from watcher.farm import Farm
from watcher.i18n.message import Message, Template
from watcher.web.auth.users import Role

PAGES = ["/", "/hours", "/log", "/jobs", "/sources", "/devices", "/more", "/records", "/incidents"]


async def test_no_page_puts_a_text_into_the_first_language(
    tmp_path: Path, example_farm: Farm, monkeypatch: pytest.MonkeyPatch
) -> None:
    missed: set[str] = set()
    plain = Message.__str__

    def in_english(self: Message) -> str:
        if isinstance(self, Template):
            missed.add(plain(self))
        return plain(self)

    async with visited(tmp_path, of=example_farm, calm=False) as v:
        for source in example_farm.config.sources:
            put_forecast(
                v.service.watch.transactions.store, NOON, source, wind_m_s=3.2, gust_m_s=5.0
            )
        await v.service.judged()
        v.web.headers["Accept-Language"] = "es"
        v.log_in(Role.ADMINISTER)
        fields = [
            f"/fields/{field}?at={NOON + hours * 3600}"
            for field in example_farm.config.fields
            for hours in (0, 5, 14)
        ]
        monkeypatch.setattr(Message, "__str__", in_english)
        for page in [*PAGES, *fields]:
            answer = await v.web.get(page)
            assert answer.status_code == 200
            assert '<html lang="es"' in answer.text
        monkeypatch.undo()
    assert missed == set()


async def test_a_page_says_a_limit_with_all_its_numbers_and_names(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.LOOK)
        v.web.headers["Accept-Language"] = "es"
        page = (await v.web.get("/")).text
        assert "Pulverizar ahora" in page
        assert " mph, mínimo " in page or " mph, máximo " in page
        assert " de margen" in page
        assert "Viento medido por mast " in page


@pytest.mark.parametrize(
    ("asked", "farm", "code"),
    [("de", "es", "es"), ("en", "es", "en"), ("es", "en", "es"), ("", "en", "en")],
)
async def test_who_asks_for_no_language_there_is_reads_the_farms(
    tmp_path: Path, example_farm: Farm, asked: str, farm: str, code: str
) -> None:
    basics = example_farm.config.farm.model_copy(update={"language": farm})
    config = example_farm.config.model_copy(update={"farm": basics})
    async with visited(tmp_path, of=Farm(config, example_farm.ground)) as v:
        v.web.headers["Accept-Language"] = asked
        assert f'<html lang="{code}"' in (await v.web.get("/login")).text


async def test_the_api_gives_its_sentences_in_the_language_asked_for(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in(Role.LOOK)
        plain = await v.web.get("/api/v1/ranking")
        spanish = await v.web.get("/api/v1/ranking", headers={"Accept-Language": "es-MX,en;q=0.5"})
        assert plain.headers["Content-Language"] == "en"
        assert spanish.headers["Content-Language"] == "es"
        assert "Accept-Language" in spanish.headers["Vary"]
        first, otherwise = (answer.json()["spray"] for answer in (plain, spanish))
        assert any("at least" in field["binding"].pop("sentence") for field in first)
        assert any("mínimo" in field["binding"].pop("sentence") for field in otherwise)
