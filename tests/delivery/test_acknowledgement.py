"""Signed links and ids: what is acknowledged, by whom, once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import SecretStr

from watcher.delivery.acknowledgement import BadLinkError, Links, Seen

LINKS = Links(SecretStr("a secret of the settings"), "https://farm.example/seen/")


def test_a_link_says_which_message_and_who_was_asked():
    link = LINKS.link("K7QM2", "grower")
    assert link.startswith("https://farm.example/seen/K7QM2.grower.")
    assert LINKS.read(link.rpartition("/")[2]) == Seen("K7QM2", "grower")


def test_a_link_fits_an_sms_beside_its_text():
    assert len(LINKS.token("K7QM2", "grower")) <= 26


@given(st.text(max_size=60))
def test_nothing_made_up_is_taken_for_a_link(token):
    with pytest.raises(BadLinkError):
        LINKS.read(token)


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t.replace("K7QM2", "K7QM3"),
        lambda t: t.replace("grower", "somebody"),
        lambda t: t[:-1] + ("A" if t[-1] != "A" else "B"),
        lambda t: t + "A",
        lambda t: t.replace(".", ""),
    ],
)
def test_a_changed_link_is_refused(change):
    with pytest.raises(BadLinkError):
        LINKS.read(change(LINKS.token("K7QM2", "grower")))


def test_a_link_made_with_another_secret_is_refused():
    other = Links(SecretStr("another secret"), "https://farm.example/seen")
    with pytest.raises(BadLinkError):
        LINKS.read(other.token("K7QM2", "grower"))


def test_ids_and_names_cannot_be_shifted_into_each_other():
    assert LINKS.token("AB", "C").rpartition(".")[2] != LINKS.token("A", "BC").rpartition(".")[2]


def test_a_signature_has_72_bits():
    """Nine bytes as base64: not to be guessed, short enough for an SMS."""
    assert len(LINKS.token("K7QM2", "grower").rpartition(".")[2]) == 12


def test_a_name_with_dots_in_it_is_read_whole():
    assert LINKS.read(LINKS.token("K7QM2", "a.b.c")) == Seen("K7QM2", "a.b.c")
