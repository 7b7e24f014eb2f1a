"""The page of what was said against what came: the command's figures, nothing under 15 days."""

from pathlib import Path

import pytest

from tests.support.chances_said import on_days
from tests.support.kept_errors import keep
from tests.support.visiting import NOON, Visited, farm, visited
from watcher.forecasts.scores import FEWEST_DAYS
from watcher.messages.skill import summary
from watcher.service.sites import site_of_log
from watcher.service.skill import skill
from watcher.store import chances

DAY, HOUR = 86_400, 3600


def put(v: Visited, days: int) -> None:
    """Let chances of two sizes have been said, that held as often as was said."""
    rows = on_days(NOON, days, "hill", "coarse")
    rows[0].chance = 0.5  # one of its kind
    with v.service.watch.transactions.store.writing() as session:
        chances.put_said(session, rows)


@pytest.mark.parametrize("days", [0, FEWEST_DAYS - 1])
async def test_nothing_is_shown_of_too_few_days(tmp_path: Path, days: int) -> None:
    async with visited(tmp_path) as v:
        put(v, days) if days else None
        v.log_in()
        page = (await v.web.get("/skill")).text
        assert f"Too early to tell: chances with a known outcome on {days} days" in page
        assert "<table" not in page


async def test_a_sentence_comes_first_then_what_was_said_and_came(tmp_path: Path) -> None:
    async with visited(tmp_path) as v:
        put(v, 60)
        v.log_in()
        page = (await v.web.get("/skill")).text
        with v.service.watch.transactions.store.reading() as session:
            found = skill(session, v.service.watch.transactions.plan.farm, 0)
        assert found.enough
        assert page.index(str(summary(found))) < page.index("Said against held")
        for one in found.bins:
            assert f">{one.said:.0%}<" in page
            assert (f"{one.held.value:.0%} (" in page) is (one.count >= 20)
        assert "too few to say" in page
        assert "Against simpler ways" in page
        assert 'href="/skill"' in (await v.web.get("/more")).text


@pytest.mark.parametrize(("days", "shown"), [(FEWEST_DAYS - 1, False), (20, True)])
async def test_feeds_are_shown_by_lead_hour_and_direction(
    tmp_path: Path, days: int, *, shown: bool
) -> None:
    async with visited(tmp_path) as v:
        of = v.service.watch.transactions.plan.farm
        with v.service.watch.transactions.store.writing() as session:
            keep(session, ("feed", "mast"), site_of_log(session, of, "mast"), NOON, days)
        v.log_in()
        page = (await v.web.get("/skill")).text
        assert page.index("Too early to tell") > 0  # of chances nothing is known yet
        for title in (
            "Feed against feed",
            "By the hour of the day",
            "By the wind direction",
            "What the station takes off the error",
        ):
            assert (title in page) is shown
        if shown:
            # 1 m/s too high everywhere: 2.2 mph. An hour ahead 0.7 exp(-1/2) of it is taken off.
            assert page.count("<td>+2.2 (2.2)</td>") == 3 + 8 + 1
            assert page.count("<td>too few days</td>") == 3 * 7
            assert "<td>2.2 → 1.3</td>" in page
            assert "Rain, feed" not in page  # nobody measures any
            assert "is 42% less 1 h ahead and 3% less 6 h ahead." in page
            assert "Wind, mph" in page
            spanish = await v.web.get("/skill", headers={"Accept-Language": "es"})
            assert "Cuánto le quita la estación al error" in spanish.text
            assert "<td>+2.2 (2.2)</td>" in spanish.text


async def test_rain_is_shown_by_lead_where_a_station_measures_it(tmp_path: Path) -> None:
    mast = {
        "kind": "push",
        "heights": {"wind": "0.628 m"},
        "measures": ["wind", "gust", "wind_from", "temperature", "humidity", "rain"],
    }
    async with visited(tmp_path, of=farm(sources={"mast": mast})) as v:
        of = v.service.watch.transactions.plan.farm
        with v.service.watch.transactions.store.writing() as session:
            keep(session, ("feed", "mast"), site_of_log(session, of, "mast"), NOON, 20)
        v.log_in()
        page = (await v.web.get("/skill")).text
        assert "Rain, feed against feed" in page
        # Every wet hour foretold, as many for nothing: a hit of two by chance, (2 - 1) / (4 - 1).
        assert page.count("<td>100%; 50%</td><td>0.33</td><td>+0.02 (0.03)</td>") == 3
