"""Texts as they are read in English, to be compared word for word."""

from collections.abc import Iterable
from typing import overload

from watcher.i18n.language import ENGLISH
from watcher.i18n.message import Message, joined
from watcher.messages.text import Rendered, Text


@overload
def english(text: Text) -> Rendered: ...
@overload
def english(text: Message) -> str: ...
@overload
def english(text: Iterable[Message]) -> list[str]: ...


def english(text: Text | Message | Iterable[Message]) -> Rendered | str | list[str]:
    """Return a text, or several, in English."""
    if isinstance(text, Text):
        return text.render(ENGLISH)
    if isinstance(text, Message):
        return str(text)
    return [str(line) for line in text]


def as_it_is(text: str) -> Message:
    """Return a text that is the same in every language."""
    return joined([text])
