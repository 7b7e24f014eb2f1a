"""Which page a message opens."""

import pytest

from watcher.delivery.sent_messages import job_of, once, page_of
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


@pytest.mark.parametrize(
    ("about", "job"),
    [("job:12", 12), ("job:", None), ("job:x", None), ("field:12", None), ("12", None)],
)
def test_a_message_is_about_the_job_it_names(about: str, job: int | None) -> None:
    assert job_of(Outgoing(about=about)) == job


def test_a_field_without_a_name_opens_the_first_page() -> None:
    assert page_of(Outgoing(about="field:")) == "/"


def test_each_thing_is_said_once_in_its_longest_form_as_it_was_sent() -> None:
    def said(number: int, short_id: str, title: str, body: str) -> Outgoing:
        return Outgoing(id=number, short_id=short_id, title=title, body=body)

    long_title = said(1, "A", "a long title", "b")
    short = said(2, "A", "t", "a body")
    other = said(3, "B", "t", "b")
    assert once([other, short, long_title]) == [long_title, other]
