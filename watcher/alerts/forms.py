"""The shape a recipient reads a text in: on a lock screen, as a mail, as a plain SMS."""

import unicodedata
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

from watcher.alerts.wording.words import (
    CAUTION,
    CAUTION_SMS,
    Text,
    cut,
    lateness,
    lateness_sms,
)

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


def shape(text: Text, form: Form, *, ref: str, ask: str = "") -> Shaped:
    """Shape a text for one recipient.

    ``ref`` is a short stable id, the same on a repeated delivery; ``ask`` a line that asks for an
    answer.
    """
    if form == "sms":
        return Shaped("", _sms(text, ref=ref, ask=ask))
    lines = [*text.lines, ask]
    if form == "mail":
        lines += [f"\n{part}" for part in text.more]
    caution = f"\n{CAUTION}" if form == "mail" else CAUTION
    return Shaped(text.title, "\n".join(line for line in [*lines, caution, f"[{ref}]"] if line))


def say_late(body: str, form: Form, *, true_at: int, now: int, zone: ZoneInfo) -> str:
    """Return a body that begins with how old it is, once that is worth saying."""
    if now - true_at < LATE_AFTER_S:
        return body
    if form == "sms":
        return _late_sms(body, gsm_7(lateness_sms(true_at, now, zone)))
    return f"{lateness(true_at, now, zone)}\n{body}"


def _sms(text: Text, *, ref: str, ask: str) -> str:
    """As many whole lines as fit after the title, before the answer asked for."""
    # A link to answer by holds the id already.
    ending = gsm_7(f"{CAUTION_SMS} {ask or f'({ref})'}")
    room = SMS_ROOM - len(ending) - 1
    said = _sentence(gsm_7(cut(text.title, room - 1)))
    for line in map(gsm_7, text.lines):
        longer = f"{said} {_sentence(line)}"
        if len(longer) > room:
            break
        said = longer
    return f"{said} {ending}"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?")) else f"{text}."


def _late_sms(body: str, late: str) -> str:
    """Make room for the lateness: the last sentences before the ending give way."""
    said, caution, rest = body.rpartition(CAUTION_SMS)
    room = SMS_ROOM - len(f"{late}  {caution}{rest}")
    sentences = said.strip().removesuffix(".").split(". ")
    while len(sentences) > 1 and len(". ".join(sentences)) >= room:
        sentences.pop()
    kept = ". ".join(sentences) + "."
    if len(kept) > room:
        kept = gsm_7(cut(kept, room - 1))
    return f"{late} {kept} {caution}{rest}"


def gsm_7(text: str) -> str:
    """Return the text in the GSM 03.38 basic set: accents dropped, then anything else left out."""
    plainer = text.translate(_PLAINER)
    letters = (c if c in _GSM_7 else _without_accent(c) for c in plainer)
    return " ".join("".join(letters).split())


def _without_accent(character: str) -> str:
    base = unicodedata.normalize("NFKD", character)[0]
    return base if base in _GSM_7 else " "
