"""The printed record: everything on it, and caution, number and head of the chain on every page."""

import io
from datetime import datetime

import pypdf
import pytest

from tests.support import sprayed
from tests.support.farms import build
from tests.support.new_log import new_log
from watcher.i18n.language import language
from watcher.messages.words import CAUTION
from watcher.records import journal
from watcher.records.page import page_of
from watcher.records.pdf import write_pdf

NAME = "Żółć Görlitz & Ñandú (invented)"


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """A long record of a farm with letters of several countries, printed twice."""
    store = new_log(tmp_path_factory.mktemp("log") / "watch.db")
    desk = sprayed.RuleGroup(store, sprayed.farm(name=NAME))
    job = sprayed.spray(store, desk.farm, minutes=280)
    desk.tell(job, note="Böig, Δ gering. " * 12)
    desk.close(job)
    record = desk.correct(job, "mistyped", certificate="0001")
    with store.reading() as session:
        head = journal.head(session)
    page = page_of(record, desk.farm.config.farm.record_rules, head)
    moment = datetime.fromtimestamp(desk.now, desk.farm.zone)
    store.close()
    return write_pdf([page, page], "a4", moment), head


def test_caution_number_and_head_are_on_every_page(printed) -> None:
    data, head = printed
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    assert len(pages) >= 4
    for number, page in enumerate(pages, start=1):
        text = " ".join(page.extract_text().split())
        assert str(CAUTION) in text
        assert head.hash in text
        assert f"Page {number} of {len(pages)}" in text


def test_names_of_several_countries_come_through(printed) -> None:
    first = pypdf.PdfReader(io.BytesIO(printed[0])).pages[0].extract_text()
    assert NAME in first
    assert "Böig, Δ gering." in first


def test_what_an_inspector_looks_for_is_on_it(printed) -> None:
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(printed[0])).pages)
    for wanted in (
        "A. Grower",
        "0001",
        "00000-000",
        "section 12 (invented)",
        "22 fl oz/acre",
        "870.9 fl oz",
        "5.6 mph at 10 ft",
        "orchard on the N side, 33 ft",
        "record written",
        "2026-06-24",
        "mistyped",
    ):
        assert wanted in " ".join(text.split()), wanted


def test_the_paper_is_as_asked_for(printed) -> None:
    box = pypdf.PdfReader(io.BytesIO(printed[0])).pages[0].mediabox
    assert (round(box.width), round(box.height)) == (842, 595)  # A4 on its side, in points


def test_every_record_begins_on_a_page_of_its_own(printed) -> None:
    pages = pypdf.PdfReader(io.BytesIO(printed[0])).pages
    titles = [p.extract_text().count("Application record, job 1: creek_side\n") for p in pages]
    assert sum(titles) == 2


def _printed(tmp_path, *, products: int, code: str = "en", minutes: int = 75) -> list[str]:
    """The text of each sheet of a record with many products of long names and a strip to leave."""
    entries = sprayed.farm_tables()
    entries["neighbours"]["orchard"]["no_spray_distance"] = "60 m"
    entries["products"] = {
        f"p{n}": {
            "name": f"Herbicide with quite a long name number {n} (invented)",
            "registration": f"00000-00{n} (invented)",
            "rate": "22 fl oz/acre",
            "active": "invented ingredient 41 %, another invented one 12 %",
            "re_entry": "12 h",
            "pre_harvest": "30 days",
        }
        for n in range(products)
    }
    entries["fields"]["creek_side"]["products"] = list(entries["products"])
    store = new_log(tmp_path / "watch.db")
    desk = sprayed.RuleGroup(store, build(entries))
    record = desk.close(sprayed.spray(store, desk.farm, minutes=minutes))
    spoken = language(code)
    page = page_of(record, desk.farm.config.farm.record_rules, None, language=spoken)
    store.close()
    moment = datetime.fromtimestamp(desk.now, desk.farm.zone)
    data = write_pdf([page], "letter", moment, spoken)
    sheets = pypdf.PdfReader(io.BytesIO(data)).pages
    return [" ".join(sheet.extract_text().split()) for sheet in sheets]


def test_what_is_signed_is_two_sheets_even_of_many_products_in_spanish(tmp_path) -> None:
    sheets = _printed(tmp_path, products=6, code="es")
    signed = [n for n, text in enumerate(sheets) if "Firma del aplicador certificado" in text]
    assert signed == [1]
    assert "Comprobado con: former 7 CFR 110" in sheets[1]
    assert all(f"number {n} (invented)" in sheets[0] for n in range(6))


def test_products_tell_what_their_labels_say(tmp_path) -> None:
    first = _printed(tmp_path, products=1)[0]
    for wanted in ("00000-000 (invented)", "41 %", "22 fl oz/acre", "870.9 fl oz", "12 h", "30 d"):
        assert wanted in first, wanted


def test_the_map_tells_the_wind_and_the_strip_to_leave(tmp_path) -> None:
    first = _printed(tmp_path, products=1)[0]
    assert "start: wind from S 180°, 3.8 mph at the boom" in first
    assert "hatched: 164 ft to leave unsprayed beside orchard, N" in first
