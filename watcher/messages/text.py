"""A text as a message: its title for a lock screen, its lines, and what only a mail has room for.

What is too long is shortened by rule: names first, then whole items or whole words at the end,
never a number or its unit.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from watcher.i18n.language import Language
from watcher.i18n.message import NAME_ROOM, Message

TITLE_ROOM = 40
_SHORTEST_NAME = 8
_HALF_SAID = re.compile(r"[-+]?[\d.,]+|[-–:,;(+]|\W+")
"""What may not stand at the end of a text that was cut: a number without what it counts."""


@dataclass(frozen=True)
class Rendered:
    """A text in one language."""

    title: str
    lines: tuple[str, ...]
    more: tuple[str, ...] = ()


@dataclass(frozen=True)
class Text:
    """One thing said, most important first.

    ``title`` is for a lock screen; ``lines`` are the body; only a mail has room for ``more``.
    """

    title: Message
    lines: tuple[Message, ...]
    more: tuple[Message, ...] = ()

    def render(self, language: Language) -> Rendered:
        """Return the text in a language, its title short enough for a lock screen."""
        return Rendered(
            fit(self.title, language, TITLE_ROOM),
            tuple(line.render(language) for line in self.lines),
            tuple(part.render(language) for part in self.more),
        )


@dataclass(frozen=True)
class Headline(Message):
    """A start and as many items as there is room for, then how many more there are."""

    start: Message
    items: tuple[Message, ...]

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        items = ", ".join(item.render(language, names=names) for item in self.items)
        return f"{self.start.render(language, names=names)} {items}"

    def fit(self, language: Language, room: int) -> str:
        """Return as much of it as a room of so many letters holds."""
        start = self.start.render(language)
        items = [item.render(language) for item in self.items]
        if len(items) > 1:
            return headline(start, items, room)
        return _by_shorter_names(self, language, room)


@dataclass(frozen=True)
class Choice(Message):
    """The same at several lengths, the longest first; the first that has room is taken."""

    options: tuple[Message, ...]

    def render(self, language: Language, *, names: int = NAME_ROOM) -> str:
        return self.options[0].render(language, names=names)

    def fit(self, language: Language, room: int) -> str:
        """Return the longest that fits with whole names, else the shortest with shorter ones."""
        for option in self.options:
            rendered = option.render(language)
            if len(rendered) <= room:
                return rendered
        return _by_shorter_names(self.options[-1], language, room)


def fit(text: Message, language: Language, room: int) -> str:
    """Return a text in a language in at most so many letters: shorter names, then fewer words."""
    if isinstance(text, Headline | Choice):
        return text.fit(language, room)
    return _by_shorter_names(text, language, room)


def _by_shorter_names(text: Message, language: Language, room: int) -> str:
    for names in range(NAME_ROOM, _SHORTEST_NAME - 1, -1):
        rendered = text.render(language, names=names)
        if len(rendered) <= room:
            return rendered
    return cut(rendered, room)


def headline(start: str, items: Sequence[str], room: int) -> str:
    """Return ``start`` and as many items as fit, then how many more there are."""
    line = start
    for count, item in enumerate(items):
        longer = f"{line}{', ' if count else ' '}{item}"
        left = len(items) - count - 1
        if len(longer) + (len(f" +{left}") if left else 0) > room:
            return f"{line} +{len(items) - count}" if count else cut(longer, room)
        line = longer
    return line


def headline_of(start: Message, items: Iterable[Message]) -> Headline:
    """Return a title that names as many items as there is room for."""
    return Headline(start, tuple(items))


def cut(text: str, room: int) -> str:
    """Return the text without its last words where it is longer than the room.

    Nothing is cut inside a word, and no number is left without its unit; only a single word that
    is too long by itself is cut where the room ends.
    """
    if len(text) <= room:
        return text
    words = text[:room].split(" ")[:-1]  # the last one is not whole, or has no room for the sign
    while words and _HALF_SAID.fullmatch(words[-1]):
        words.pop()
    if not words:
        return text[: room - 1].rstrip() + "…"
    return " ".join(words).rstrip(",;:") + "…"
