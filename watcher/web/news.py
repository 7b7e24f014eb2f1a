"""Messages as news: recipients are told one thing in several forms; here it is told once."""

from collections.abc import Iterable

from watcher.store.tables import Message


def once(messages: Iterable[Message]) -> list[Message]:
    """Return each thing that was told, once, in its longest form, in the order they were told."""
    by_length = sorted(messages, key=lambda m: len(m.title) + len(m.body))
    longest = {m.short_id: m for m in by_length}
    return sorted(longest.values(), key=lambda m: m.id)
