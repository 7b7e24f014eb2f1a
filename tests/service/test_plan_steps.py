"""What is said of the plan: once by its key, at its own time, the later of two about the same."""

from pathlib import Path

import pytest

from tests.support.new_log import new_log
from tests.support.visiting import NOON, farm
from watcher.planning.day_plan import Wish, Wishes
from watcher.service.day_plan import wishes_of
from watcher.service.plan_steps import BadWishError, Who, WishAsked, keep_order, wish
from watcher.store.database import Database

HOUR = 3600
FARM = farm()
NOT_TODAY = WishAsked(Wish.NOT_TODAY, "hill")


@pytest.fixture
def store(tmp_path: Path) -> Database:
    return new_log(tmp_path / "watch.db")


def wishes(store: Database, now: int) -> Wishes:
    with store.reading() as session:
        return wishes_of(session, FARM, now)[1]


def tapped(at: int, *, came: int, key: str | None = None) -> Who:
    return Who("driver", came, key, at)


def test_a_kept_tap_counts_from_when_it_was_tapped(store: Database) -> None:
    home = WishAsked(Wish.HOME_BY, clock="11:30")
    wish(store, FARM, home, tapped(NOON, came=NOON + HOUR))  # by then 11:30 is past
    assert wishes(store, NOON + HOUR).home_by == NOON + HOUR // 2


def test_sent_twice_it_is_once_even_where_it_would_be_refused_by_then(store: Database) -> None:
    home = WishAsked(Wish.HOME_BY, clock="11:30")
    wish(store, FARM, home, Who("driver", NOON, "a"))
    wish(store, FARM, WishAsked(Wish.HOME_BY, back=True), Who("driver", NOON + 60, "b"))
    wish(store, FARM, home, Who("driver", NOON + HOUR, "a"))
    assert wishes(store, NOON + HOUR).home_by is None


def test_what_was_said_after_it_of_the_same_stands(store: Database) -> None:
    wish(store, FARM, WishAsked(Wish.FIRST, "creek_side"), Who("mate", NOON + 300))
    wish(store, FARM, WishAsked(Wish.FIRST, "hill"), tapped(NOON, came=NOON + 600))
    assert wishes(store, NOON + 600).first == "creek_side"


def test_what_was_said_after_it_of_something_else_stays_beside_it(store: Database) -> None:
    wish(store, FARM, WishAsked(Wish.NOT_TODAY, "creek_side"), Who("mate", NOON + 300))
    wish(store, FARM, WishAsked(Wish.FIRST, "hill"), tapped(NOON, came=NOON + 600))
    wish(store, FARM, NOT_TODAY, tapped(NOON + 60, came=NOON + 600))
    found = wishes(store, NOON + 600)
    assert found.first == "hill"
    assert set(found.not_before) == {"creek_side", "hill"}


def test_a_wish_for_a_day_that_is_over_is_refused_and_todays_stay(store: Database) -> None:
    tomorrow = NOON + 24 * HOUR
    wish(store, FARM, WishAsked(Wish.FIRST, "creek_side"), Who("mate", tomorrow))
    with pytest.raises(BadWishError, match="a day that is over"):
        wish(store, FARM, NOT_TODAY, tapped(NOON, came=tomorrow + 60))
    with pytest.raises(BadWishError, match="a day that is over"):
        keep_order(store, FARM, tapped(NOON, came=tomorrow + 60))
    found = wishes(store, tomorrow + 60)
    assert (found.first, found.not_before, found.keeps_order) == ("creek_side", {}, False)


def test_what_holds_for_good_is_taken_a_day_later(store: Database) -> None:
    tomorrow = NOON + 24 * HOUR
    wish(store, FARM, WishAsked(Wish.FIRST, "creek_side"), Who("mate", tomorrow))
    only = WishAsked(Wish.ONLY_WITH, "hill", "boom")
    wish(store, FARM, only, tapped(NOON, came=tomorrow + 60))
    found = wishes(store, tomorrow + 60)
    assert (found.first, found.only_with) == ("creek_side", {"hill": "boom"})
