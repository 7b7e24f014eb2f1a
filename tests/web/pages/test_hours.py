"""The hours page: a cell an hour and field, what decides, the air above, and how it is found."""

import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from tests.support.farms import tables
from tests.support.running import put_forecast
from tests.support.visiting import CALM, NOON, Visited, farm, visited
from watcher.limits.status import Status

pytestmark = pytest.mark.long

HOUR = 3600
ROW = re.compile(r'<tbody data-field="(\w+)">\n<tr>(.*?)</tr>\n<tr>(.*?)</tr>', re.S)
CELL = re.compile(r'<td class="([^"]*)"><i>([^<]*)</i><span aria-hidden="true">(.)<b>([^<]*)</b>')


def rows(page: str) -> dict[str, list[tuple[str, str, str, str]]]:
    """Every field's cells: class, what is read aloud, shape, figure."""
    return {field: CELL.findall(cells) for field, cells, _ in ROW.findall(page)}


async def work_out(v: Visited) -> None:
    await v.service.watch._work_out_chances()


def many(count: int) -> dict[str, object]:
    field = tables()["fields"]["hill"]
    return {f"f{i:03}": field | {"crop": "corn"} for i in range(count)}


async def test_every_hour_of_two_days_has_its_status_as_shape_and_word(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        found = rows((await v.web.get("/hours")).text)
        snapshot = v.service.watch.snapshot
        assert snapshot is not None
        judgement = snapshot.judgement
        assert set(found) == set(judgement.plan.fields)
        for field, cells in found.items():
            assert len(cells) == 48
            best = judgement.best[judgement.plan.fields.index(field)]
            for n, (style, said, shape, _) in enumerate(cells):
                status = Status(int(best[snapshot.timeline.now_index + n]))
                assert style.split()[0] == f"s-{status.word}"
                assert said.split(",")[0] == status.word
                assert shape == {3: "●", 2: "◐", 1: "?", 0: "✕"}[status]


async def test_chances_are_told_in_tenths_of_open_hours_only(tmp_path: Path) -> None:
    async with visited(tmp_path, chances=True) as v:
        windy = np.where(np.arange(-30, 80) > 50, 12.0, 3.6)
        put_forecast(
            v.service.watch.transactions.store, NOON + 1, wind_m_s=windy, gust_m_s=1.4 * windy
        )
        v.service.clock.at += 60
        await v.service.post(**CALM)
        await v.service.judged()
        await work_out(v)
        v.log_in()
        page = (await v.web.get("/hours")).text
        found = 0
        for cells in rows(page).values():
            for style, said, _, digit in cells:
                if "s-unsuitable" in style or "s-unknown" in style:
                    assert "," not in said
                    assert digit == ""
                else:
                    found += 1
                    assert re.fullmatch(
                        r"\w+, (less than 1 in 10|\d in 10|9 in 10 or better)", said
                    )
                    assert unescape(digit) in {"<1", "9+", *"123456789"}
        assert found > 24
        assert "Chances: mostly general experience." in page


async def test_chances_nobody_worked_out_are_not_known(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        page = (await v.web.get("/hours")).text
        said = [cell[1] for cells in rows(page).values() for cell in cells]
        assert "suitable, chance not known" in said
        assert not any("in 10" in words for words in said)
        assert "No chances are known yet." in page


async def test_the_air_stands_above_and_what_is_missing_is_not_known(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        page = (await v.web.get("/hours")).text
        air = page[page.index('class="air-rows"') : page.index("data-field")]
        heads = re.findall(r'scope="row">([^<]*)', air)
        assert [h.split(",")[0] for h in heads] == [
            "wind from",
            "wind",
            "gust",
            "Delta T",
            "air",
            "rain",
            "inversion",
        ]
        assert "<td>68</td>" in air  # °F
        put_forecast(v.service.watch.transactions.store, NOON + 1, gust_m_s=np.nan)
        v.service.clock.at += 60
        await v.service.post(**CALM)
        await v.service.judged()
        page = (await v.web.get("/hours")).text
        gust = page[page.index(">gust, mph") :].split("</tr>")[0]
        assert '<td class="u">?</td>' in gust
        assert ">0<" not in gust


async def test_one_hour_is_told_in_words_with_what_decides(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        windy = np.where(np.arange(-30, 80) == 3, 12.0, 2.2)
        put_forecast(
            v.service.watch.transactions.store, NOON + 1, wind_m_s=windy, gust_m_s=1.1 * windy
        )
        v.service.clock.at += 60
        await v.service.post(**CALM)
        await v.service.judged()
        v.log_in()
        page = (await v.web.get("/hours", params={"at": NOON + 3 * HOUR})).text
        words = page[page.index('class="rows"') :]
        assert words.count("✕</span> unsuitable") == 2
        assert f'href="/fields/hill?at={NOON + 3 * HOUR}"' in words
        assert "mph, at most 10 mph (label)" in words


@pytest.mark.parametrize("at", [0, 10**9, NOON + 400 * HOUR])
async def test_an_hour_out_of_sight_is_the_nearest(tmp_path: Path, at: int) -> None:
    async with visited(tmp_path) as v:
        v.log_in()
        answer = await v.web.get("/hours", params={"at": at})
        assert answer.status_code == 200
        assert " selected" in answer.text


async def test_many_fields_come_in_pages_and_are_found(tmp_path: Path) -> None:
    async with visited(tmp_path, of=farm(fields=many(38))) as v:
        v.log_in()
        first, second = [(await v.web.get(f"/hours?page={p}")).text for p in (1, 2)]
        assert len(rows(first)) == len(rows(second)) == 20
        assert not rows(first).keys() & rows(second).keys()
        assert "Page 1 of 2" in first
        assert set(rows((await v.web.get("/hours?q=f007")).text)) == {"f007"}
        assert len(rows((await v.web.get("/hours?q=CORN+f01")).text)) == 10
        assert set(rows((await v.web.get("/hours?by=crop&of=soybeans")).text)) == {
            "creek_side",
            "hill",
        }
        assert "No field is called so." in (await v.web.get("/hours?q=nowhere")).text
        script = (await v.web.get("/hours", params={"q": '"><script>x'})).text
        assert "<script>x" not in script
