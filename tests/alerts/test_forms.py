"""Texts in the forms recipients read, and names that must not become markup."""

import re
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.alerts.forms import SMS_ROOM, gsm_7, say_late, shape
from watcher.alerts.wording.words import TITLE_ROOM, Text, clock, headline, name, span

CHICAGO = ZoneInfo("America/Chicago")
NOON = 1_781_110_800  # 2026-06-10 12:00 there
# Basic set of GSM 03.38 (3GPP TS 23.038, 6.2.1; value from memory), without escapes.
GSM = set(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("west_bottom", "west bottom"),
        ("Müller's 40", "Müller's 40"),
        ("<b>bold</b>", "b bold /b"),
        ("[here](http://x.example)", "here (http //x.example)"),
        ("@everyone *now*", "everyone now"),
        ("line\nbreak\ttab", "line break tab"),
        ("right\u202eto left", "right to left"),
        ("`code` ~~gone~~ ||spoiler||", "code gone spoiler"),
        ("a" * 40, "a" * 27 + "…"),
    ],
)
def test_a_name_is_plain_words(told, said):
    assert name(told) == said


@given(st.text())
def test_no_name_holds_anything_a_markup_could_use(told):
    assert not re.search(r"[<>\[\]{}*_`~|\\@#\x00-\x1f\u200b-\u200f\u202a-\u202e]", name(told))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, "0 s"),
        (59, "59 s"),
        (60, "1 min"),
        (12 * 60, "12 min"),
        (89 * 60, "89 min"),
        (2 * 3600, "2 h"),
        (2.5 * 3600, "2.5 h"),
        (48 * 3600, "48 h"),
        (4 * 86400, "4 days"),
    ],
)
def test_a_span_of_time(seconds, said):
    assert span(seconds) == said


@pytest.mark.parametrize(
    ("after_s", "said"),
    [
        (0, "12:00"),
        (-3600, "11:00"),
        (86400, "tomorrow 12:00"),
        (-86400, "yesterday 12:00"),
        (3 * 86400, "Sat 12:00"),
        (10 * 86400, "20 Jun 12:00"),
    ],
)
def test_an_instant_on_the_farms_clock(after_s, said):
    assert clock(NOON + after_s, NOON, CHICAGO) == said


def test_the_hour_a_clock_change_repeats_is_told_apart():
    # 2026-11-01 06:30 and 07:30 UTC are both 01:30 there.
    first, now = 1_793_514_600, 1_793_512_800
    assert clock(first, now, CHICAGO) == "01:30 CDT"
    assert clock(first + 3600, now, CHICAGO) == "01:30 CST"


@given(st.lists(st.text("abc d", min_size=1, max_size=50).map(name), min_size=1, max_size=9))
def test_a_headline_never_overflows(items):
    assert len(headline("Spray now:", items)) <= TITLE_ROOM


@given(
    st.text(max_size=60),
    st.lists(st.text(max_size=80), max_size=6),
    st.integers(0, 10 * 86400),
)
def test_an_sms_fits_one_message_also_when_it_is_late_and_has_only_letters_every_phone_has(
    title, lines, late_s
):
    shaped = shape(Text(title, tuple(lines)), "sms", ref="K7QM2")
    body = say_late(shaped.body, "sms", true_at=NOON, now=NOON + late_s, zone=CHICAGO)
    assert len(body) <= SMS_ROOM
    assert set(body) <= GSM
    assert body.endswith("(K7QM2)")


def test_a_late_sms_gives_up_its_last_sentences_and_keeps_the_answer_asked_for():
    text = Text(
        "Stop: creek side, wind 12 mph", ("Stop spraying now.", "Wind 12 mph, 2 over.", "x" * 40)
    )
    link = "Seen: https://farm.example/seen/K7QM2.grower.abcdefghijkl"
    body = shape(text, "sms", ref="K7QM2", ask=link).body
    assert body == (
        "Stop: creek side, wind 12 mph. Stop spraying now. Wind 12 mph, 2 over. "
        f"Label decides. {link}"
    )
    late = say_late(body, "sms", true_at=NOON, now=NOON + 720, zone=CHICAGO)
    assert late == (
        "12 min LATE, true 12:00. Stop: creek side, wind 12 mph. Stop spraying now. "
        f"Label decides. {link}"
    )


def test_an_sms_drops_what_has_no_letter_and_keeps_the_words():
    assert gsm_7("◐ Peña: 85 °F – côté…") == "Peña: 85 F - coté.."


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("push", "This alert is 12 min late; it was true at 12:00.\nbody"),
        ("mail", "This alert is 12 min late; it was true at 12:00.\nbody"),
    ],
)
def test_a_late_message_says_so_first(form, said):
    assert say_late("body", form, true_at=NOON, now=NOON + 720, zone=CHICAGO) == said


def test_a_message_in_time_says_nothing_of_it():
    assert say_late("body", "push", true_at=NOON, now=NOON + 119, zone=CHICAGO) == "body"
