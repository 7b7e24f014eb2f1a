"""Messages that can wait, told as one."""

import pytest

from watcher.delivery.digest import together
from watcher.i18n.language import ENGLISH
from watcher.messages.words import CAUTION
from watcher.store.tables import Outgoing

CAUTIOUS = str(CAUTION)


def message(number: int, title: str) -> Outgoing:
    return Outgoing(id=number, short_id=f"ID{number}", title=title, body="")


TWO = [message(1, "Open: hill"), message(2, "Weather: mast silent")]


def test_one_message_is_told_as_it_is() -> None:
    alone = together(TWO[:1], ["a body"], "push", ENGLISH)
    assert (alone.title, alone.body) == ("Open: hill", "a body")


def test_two_are_told_by_their_titles_and_what_both_say_stands_once_at_the_end() -> None:
    both_say = "Mast measured it.\n" + CAUTIOUS
    bodies = ["own one\n\n" + both_say, "own two\n" + both_say]
    both = together(TWO, bodies, "push", ENGLISH)
    assert both.title == "2 messages: Open: hill +1"
    assert both.body == (
        "Open: hill\nown one\n\nWeather: mast silent\nown two\n\nMast measured it.\n" + CAUTIOUS
    )


def test_the_caution_stands_at_the_end_also_where_one_body_lacks_it() -> None:
    both = together(TWO, ["own one", "own two\n" + CAUTIOUS], "push", ENGLISH)
    assert both.body.endswith("\n\n" + CAUTIOUS)


@pytest.mark.parametrize("words", [3, 60])
def test_an_sms_has_their_first_words_and_their_ids_in_one_hundred_and_sixty(words: int) -> None:
    bodies = ["word " * words + ". More.", "Mast silent. Since 11:01."]
    sms = together(TWO, bodies, "sms", ENGLISH)
    assert sms.title == ""
    assert len(sms.body) <= 160
    assert sms.body.startswith("2: ")
    assert sms.body.endswith("(ID1 ID2)")
    assert "More" not in sms.body
    if words == 60:  # as much as there is room for
        assert len(sms.body) > 140
