"""A record as a page in another language: all its own words, and nothing of what was sealed."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from tests.support import sprayed
from tests.support.foreign import FOREIGN
from tests.support.new_log import new_log
from watcher.farm.models import SprayerKind
from watcher.i18n.language import ENGLISH, Language, language
from watcher.records import journal
from watcher.records.layout import RecordPage
from watcher.records.page import page_of


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, RecordPage]:
    folder: Path = tmp_path_factory.mktemp("log")
    store = new_log(folder / "watch.db")
    desk = sprayed.RuleGroup(store, sprayed.farm())
    job = sprayed.spray(store, desk.farm, minutes=80)
    desk.tell(job, note="Böig.")
    desk.close(job)
    record = desk.correct(job, "mistyped", certificate="0001")
    with store.reading() as session:
        head = journal.head(session)
    store.close()

    def page(spoken: Language) -> RecordPage:
        return page_of(record, desk.farm.config.farm.record_rules, head, language=spoken)

    return {spoken.code: page(spoken) for spoken in (ENGLISH, language("es"), FOREIGN)}


def test_every_heading_and_label_is_translated(pages: dict[str, RecordPage]) -> None:
    foreign = pages["xx"]
    words = [word for table in foreign.tables for word in (table.title, *table.head)]
    words += [row[0] for table in foreign.tables if table.keys for row in table.rows]
    assert len(words) > 60
    assert [word for word in words if re.search("[A-Za-z]", word)] == []


def test_notes_are_translated_but_for_the_names_of_rules(pages: dict[str, RecordPage]) -> None:
    notes = [re.sub("former 7 CFR 110|EU 2023/564", "", table.note) for table in pages["xx"].tables]
    assert [note for note in notes if re.search("[A-Za-z]", note)] == []


def test_what_was_sealed_stands_in_every_language(pages: dict[str, RecordPage]) -> None:
    english, spanish = pages["en"], pages["es"]
    assert english.title.startswith("Application record, job ")
    assert spanish.title.startswith("Registro de aplicación, trabajo ")
    seals = [[row[-1] for row in page.tables[-1].rows] for page in (english, spanish)]
    assert seals[0] == seals[1] != []
    assert any("Böig." in row for table in spanish.tables for row in table.rows)
    assert len(english.tables) == len(spanish.tables)


def test_a_record_says_that_a_hood_was_not_counted(tmp_path: Path) -> None:
    hooded = sprayed.farm()
    sprayers = {
        name: sprayer.model_copy(update={"kind": SprayerKind.HOODED_BOOM})
        for name, sprayer in hooded.config.sprayers.items()
    }
    hooded = replace(hooded, config=hooded.config.model_copy(update={"sprayers": sprayers}))
    store = new_log(tmp_path / "watch.db")
    desk = sprayed.RuleGroup(store, hooded)
    record = desk.close(sprayed.spray(store, hooded, minutes=40))
    store.close()
    assert all(one.as_open_boom for moment in record.kept.moments for one in moment.landing)
    page = page_of(record, (), None)
    [table] = [t for t in page.tables if t.title.startswith("Neighbours")]
    assert "estimated as from an open boom, the hood is not counted" in table.rows[0][-1]
