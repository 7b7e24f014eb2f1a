"""The shape a recipient reads a text in: on a lock screen, as a mail, as a plain SMS."""

import unicodedata
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

from watcher.i18n.language import Language, codes, language
from watcher.i18n.message import Message
from watcher.messages.text import Rendered, Text, cut
from watcher.messages.words import CAUTION, CAUTION_SMS, lateness, lateness_sms

Form = Literal["push", "mail", "sms"]

SMS_ROOM = 160
LATE_AFTER_S = 120
"""A message this old says so."""
# The basic character set of GSM 03.38 without its line feed: one septet each.
_GSM_7 = frozenset(
    "@£$¥èéùìòÇØøÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
_PLAINER = str.maketrans({"°": "", "…": "..", "–": "-", "—": "-", "’": "'", "²": "2", "·": ","})


@dataclass(frozen=True)
class Shaped:
    """A title (empty where the form has none) and a body, as plain text."""

    title: str
    body: str


def shape(
    text: Text, form: Form, spoken: Language, *, ref: str, ask: Message | None = None
) -> Shaped:
    """Shape a text for one recipient, in a language.

    ``ref`` is a short stable id, the same on a repeated delivery; ``ask`` a line that asks for an
    answer.
    """
    words = text.render(spoken)
    answer = "" if ask is None else ask.render(spoken)
    if form == "sms":
        # A link to answer by holds the id already.
        ending = f"{CAUTION_SMS.render(spoken)} {answer or f'({ref})'}"
        return Shaped("", _sms(words, gsm_7(ending)))
    lines = [*words.lines, answer]
    if form == "mail":
        lines += [f"\n{part}" for part in words.more]
    caution = CAUTION.render(spoken)
    lines += [f"\n{caution}" if form == "mail" else caution, f"[{ref}]"]
    return Shaped(words.title, "\n".join(line for line in lines if line))


def say_late(
    body: str, form: Form, spoken: Language, *, true_at: int, now: int, zone: ZoneInfo
) -> str:
    """Return a body that begins with how old it is, once that is worth saying."""
    if now - true_at < LATE_AFTER_S:
        return body
    if form == "sms":
        return _late_sms(body, gsm_7(lateness_sms(true_at, now, zone).render(spoken)))
    return f"{lateness(true_at, now, zone).render(spoken)}\n{body}"


def _sms(words: Rendered, ending: str) -> str:
    """As many whole lines as fit after the title, before the answer asked for."""
    room = SMS_ROOM - len(ending) - 1
    body = _sentence(gsm_7(cut(words.title, room - 1)))
    for line in map(gsm_7, words.lines):
        longer = f"{body} {_sentence(line)}"
        if len(longer) > room:
            break
        body = longer
    return f"{body} {ending}"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."


def _late_sms(body: str, late: str) -> str:
    """Make room for the lateness: the last sentences before the ending give way."""
    sentences, caution, answer = _parts(body)
    room = SMS_ROOM - len(f"{late}  {caution}{answer}")
    while len(sentences) > 1 and len(". ".join(sentences)) >= room:
        sentences.pop()
    kept = ". ".join(sentences) + "."
    if len(kept) > room:
        kept = gsm_7(cut(kept, room - 1))
    return f"{late} {kept} {caution}{answer}"


def _parts(body: str) -> tuple[list[str], str, str]:
    """The sentences of an SMS, its caution and the answer it asks for, whatever its language."""
    for code in codes():
        caution = gsm_7(CAUTION_SMS.render(language(code)))
        before, found, answer = body.rpartition(caution)
        if found:
            return before.strip().removesuffix(".").split(". "), caution, answer
    return body.strip().removesuffix(".").split(". "), "", ""


def gsm_7(text: str) -> str:
    """Return the text in the GSM 03.38 basic set: accents dropped, then anything else left out."""
    plainer = text.translate(_PLAINER)
    letters = (c if c in _GSM_7 else _without_accent(c) for c in plainer)
    return " ".join("".join(letters).split())


def _without_accent(character: str) -> str:
    base = unicodedata.normalize("NFKD", character)[0]
    return base if base in _GSM_7 else " "
