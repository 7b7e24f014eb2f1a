"""Which page a message opens."""

import pytest

from watcher.delivery.news import page_of
from watcher.store.tables import Outgoing


@pytest.mark.parametrize(
    ("about", "page"),
    [
        ("job:3", "/jobs/3"),
        ("field:north 40", "/fields/north%2040"),
        ("plan", "/plan"),
        ("device:x", "/devices"),
        ("farm", "/"),
    ],
)
def test_a_message_opens_the_page_it_is_about(about: str, page: str) -> None:
    assert page_of(Outgoing(about=about)) == page
