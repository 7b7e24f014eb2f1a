"""Texts in the forms recipients read, and names that must not become markup."""

import re
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.english import as_it_is, english
from watcher.i18n.language import ENGLISH, language
from watcher.i18n.message import Name, Number, joined, plain_name, say
from watcher.messages.forms import SMS_ROOM, gsm_7, say_late, shape
from watcher.messages.job import TAKE_A_READING
from watcher.messages.text import TITLE_ROOM, Rendered, Text, cut, fit, headline_of
from watcher.messages.words import span

CHICAGO = ZoneInfo("America/Chicago")
NOON = 1_781_110_800  # 2026-06-10 12:00 there
# Basic set of GSM 03.38 (3GPP TS 23.038, 6.2.1; value from memory), without escapes.
GSM = set(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡"
    "ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)


@pytest.mark.parametrize(
    ("text", "plain"),
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
def test_a_name_is_plain_words(text, plain):
    assert plain_name(text) == plain


@given(st.text())
def test_no_name_holds_anything_a_markup_could_use(text):
    assert not re.search(
        r"[<>\[\]{}*_`~|\\@#\x00-\x1f\u200b-\u200f\u202a-\u202e]", plain_name(text)
    )


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
    assert english(span(seconds)) == said


@given(st.lists(st.text("abc d", min_size=1, max_size=50).map(Name), min_size=1, max_size=9))
def test_a_headline_never_overflows(items):
    assert len(fit(headline_of(say("Spray now:"), items), ENGLISH, TITLE_ROOM)) <= TITLE_ROOM


def _text(title: str, *lines: str) -> Text:
    return Text(as_it_is(title), tuple(map(as_it_is, lines)))


@given(
    st.text(max_size=60),
    st.lists(st.text(max_size=80), max_size=6),
    st.integers(0, 10 * 86400),
)
def test_an_sms_fits_one_message_also_when_it_is_late_and_has_only_letters_every_phone_has(
    title, lines, late_s
):
    shaped = shape(_text(title, *lines), "sms", ENGLISH, ref="K7QM2")
    body = say_late(shaped.body, "sms", ENGLISH, true_at=NOON, now=NOON + late_s, zone=CHICAGO)
    assert len(body) <= SMS_ROOM
    assert set(body) <= GSM
    assert body.endswith("(K7QM2)")


def test_a_late_sms_gives_up_its_last_sentences_and_keeps_the_answer_asked_for():
    text = _text(
        "Stop creek side: too windy, 12 mph", "Stop spraying now.", "Wind 12 mph, 2 over.", "x" * 40
    )
    link = "Seen: https://farm.example/seen/K7QM2.grower.abcdefghijkl"
    body = shape(text, "sms", ENGLISH, ref="K7QM2", ask=as_it_is(link)).body
    assert body == (
        "Stop creek side: too windy, 12 mph. Stop spraying now. Wind 12 mph, 2 over. "
        f"Label decides. {link}"
    )
    late = say_late(body, "sms", ENGLISH, true_at=NOON, now=NOON + 720, zone=CHICAGO)
    assert late == (
        "12 min LATE, true 12:00. Stop creek side: too windy, 12 mph. Stop spraying now. "
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
    assert say_late("body", form, ENGLISH, true_at=NOON, now=NOON + 720, zone=CHICAGO) == said


def test_a_message_in_time_says_nothing_of_it():
    assert say_late("body", "push", ENGLISH, true_at=NOON, now=NOON + 119, zone=CHICAGO) == "body"


def test_a_late_sms_is_late_in_the_language_it_was_written_in():
    spanish = language("es")
    text = Text(say("stop"), (TAKE_A_READING, as_it_is("x" * 90)))
    body = shape(text, "sms", spanish, ref="K7QM2").body
    assert body.endswith(" Decide la etiqueta. (K7QM2)")
    late = say_late(body, "sms", spanish, true_at=NOON, now=NOON + 720, zone=CHICAGO)
    assert late.startswith("12 min TARDE, cierto 12:00. parar. ")
    assert late.endswith(" Decide la etiqueta. (K7QM2)")
    assert len(late) <= SMS_ROOM
    # The recipient's language was changed after the message was written.
    late = say_late(body, "sms", ENGLISH, true_at=NOON, now=NOON + 720, zone=CHICAGO)
    assert late.startswith("12 min LATE, true 12:00. parar. ")
    assert late.endswith(" Decide la etiqueta. (K7QM2)")


def test_a_text_in_a_language_says_its_caution_in_it():
    text = Text(say("stop"), (TAKE_A_READING,), (say("wind"),))
    shaped = shape(text, "mail", language("es"), ref="K7QM2")
    assert shaped.title == "parar"
    assert shaped.body.splitlines()[:3] == ["Mida a la altura de la barra, o pare.", "", "viento"]
    assert "Solo orientación." in shaped.body


@pytest.mark.parametrize(
    ("text", "room", "short"),
    [
        ("wind 12 mph", 11, "wind 12 mph"),
        ("wind 12 mph and more", 15, "wind 12 mph…"),
        # A number never stands without its unit, nor half of either.
        ("wind 12 mph and more", 10, "wind…"),
        ("wind 12.5 km/h", 12, "wind…"),
        ("gust 8 mph, at most 15 mph", 20, "gust 8 mph, at most…"),
        ("gust 8 mph, at most 15 mph", 12, "gust 8 mph…"),
        ("x" * 30, 10, "x" * 9 + "…"),
        ("a – 5 ft off the field", 8, "a…"),
    ],
)
def test_what_is_too_long_loses_whole_words(text, room, short):
    assert cut(text, room) == short
    assert len(short) <= room


@given(st.floats(0.1, 999.0), st.text("abc ", min_size=1, max_size=60), st.integers(12, 60))
def test_no_title_loses_half_a_number(value, field, room):
    digits = f"{value:.1f}"
    title = say("Stop {field}: wind {value} over", field=Name(field), value=Number(f"{digits} mph"))
    short = fit(title, ENGLISH, room)
    assert len(short) <= room
    assert f"{digits} mph" in short or not re.search("[0-9]", short)


def test_names_give_way_before_anything_else():
    title = say("Stop {field}: wind 12.5 mph", field=Name("a very long name of a field"))
    assert fit(title, ENGLISH, 36) == "Stop a very long nam…: wind 12.5 mph"


def test_a_text_renders_every_part():
    text = Text(say("wind"), (say("gust"), joined([say("wind"), "x"])), (say("gust"),))
    assert text.render(language("es")) == Rendered("viento", ("ráfaga", "viento, x"), ("ráfaga",))
