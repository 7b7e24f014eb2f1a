"""Secrets that somebody wrote into the farm's files: where each stands, and where it belongs."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from watcher.farm.editing.texts import FarmTexts
from watcher.farm.feeds import KEYED
from watcher.farm.validation_messages import Steps, dotted
from watcher.i18n.message import Message, Param, say
from watcher.service.kept_secrets import SecretKind
from watcher.written_secrets import GAP, asks_for_key, has_secret, masked

_COMMENT = re.compile(r"(?:^|\s)#.*", re.MULTILINE)


def secret_notes(texts: FarmTexts) -> Iterator[Message]:
    """Yield a sentence for every secret in the farm's files, without it; and for each taken out."""
    raw = texts.raw
    for at, text in _texts((), raw):
        keyed = _is_keyed(raw, at, text)
        if keyed and has_secret(text):
            yield say(
                "{key} has a key in it: set that by {variable}, or on the page of tokens, keys and "
                "passwords, and write {gap} in its place; archives and versions are kept without "
                "it, and a machine that reads one in has to be given it anew",
                key=dotted(at),
                variable=f"WATCHER_{SecretKind.FEED.value.upper()}__{at[1]}",
                gap=GAP,
            )
        elif has_secret(text):
            yield _to_take_out(dotted(at))
        elif GAP in text and not keyed and masked(text.replace(GAP, "left-out")) == text:
            yield say(
                "{key} had a password or key in it, which was left out of the archive or version "
                "it comes from: take {gap} out",
                key=dotted(at),
                gap=GAP,
            )
    for number, line in enumerate(texts.farm.splitlines(), 1):
        comment = _COMMENT.search(line)
        if comment is not None and has_secret(comment[0]):
            yield _to_take_out(say("the comment in line {number}", number=number))
    if has_secret(texts.fields):
        yield _to_take_out(say("the file of boundaries"))


def _to_take_out(where: Param) -> Message:
    return say(
        "{where} has a password, token or key in it: take it out, for these are settings of the "
        "watch or set on its page of tokens, keys and passwords; archives and versions are kept "
        "without it",
        where=where,
    )


def _is_keyed(raw: Mapping[str, Any], at: Steps, text: str) -> bool:
    if at[0] != "sources" or at[2:] != ("url",):
        return False
    return raw["sources"][at[1]].get("kind") in KEYED and asks_for_key(masked(text))


def _texts(at: tuple[int | str, ...], value: Any) -> Iterator[tuple[tuple[int | str, ...], str]]:
    match value:
        case str():
            yield at, value
        case dict():
            for key, inner in value.items():
                yield from _texts((*at, key), inner)
        case list():
            for number, inner in enumerate(value):
                yield from _texts((*at, number), inner)
