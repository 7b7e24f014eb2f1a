"""``watcher skill``: silent while it is too early, then a plain sentence first."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import Result

from tests.cli.conftest import NOW
from tests.support.chances_said import on_days
from tests.support.kept_errors import keep
from watcher.farm.load import load
from watcher.service.sites import site_of_log
from watcher.store import chances
from watcher.store.database import Database

DAY, HOUR = 86_400, 3600


def put(folder: Path, days: int, *, good: bool) -> None:
    log = Database(f"sqlite:///{folder / 'watch.db'}")
    with log.writing() as session:
        chances.put_said(session, on_days(NOW, days, "hill_forty", "fan_15", good=good))
    log.close()


def test_nothing_is_shown_under_fifteen_days(
    command: Callable[..., Result], tmp_path: Path
) -> None:
    put(tmp_path, 14, good=True)
    done = command("skill")
    assert done.exit_code == 0, done.output
    assert "Too early to tell: chances with a known outcome on 14 days" in done.output
    assert "Said against held" not in done.output


@pytest.mark.parametrize(
    ("good", "verdict"), [(True, "They said more"), (False, "do not go by them")]
)
def test_a_plain_sentence_says_whether_to_go_by_them(
    command: Callable[..., Result], tmp_path: Path, *, good: bool, verdict: str
) -> None:
    put(tmp_path, 60, good=good)
    done = command("skill")
    assert done.exit_code == 0, done.output
    first = " ".join(done.output.split())
    assert first.startswith("Of 240 jobs on 60 days")
    assert verdict in first
    assert "Said against held" in done.output


def test_it_tells_what_the_feed_was_off_by(
    command: Callable[..., Result], tmp_path: Path, example_path: Path
) -> None:
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    with log.writing() as session:
        site = site_of_log(session, load(example_path), "yard")
        keep(session, ("forecast", "yard"), site, NOW, 20)
    log.close()
    done = command("skill")
    assert done.exit_code == 0, done.output
    assert "Feed against feed" in done.output
    assert "Rain, feed against feed" in done.output
    assert "100%; 50%" in done.output
    assert "+2.2 (2.2)" in done.output
    assert "is 42% less 1 h ahead" in " ".join(done.output.split())
    assert "2.2 → 1.3" in done.output
