"""How long somebody who guesses passphrases must wait: whoever guesses, and nobody else.

Wrong attempts count for the sender they came from, and for the name at that sender. The wait grows
with each. A name that many senders guess at leaves every one of them fewer attempts, but always
the first: the right passphrase from elsewhere is never refused for what others tried. Nor is a
one-time link, which nobody can guess.
"""

import hashlib
from collections import OrderedDict
from typing import NamedTuple

from watcher.addresses import sender

FREE_OF_NAME, FREE_OF_SENDER = 4, 12
"""Wrong attempts without a wait: at one name, and in all, from one sender."""
GUESSED_AT = 20
"""After so many wrong attempts at a name, wherever from, one is without a wait."""
LONGEST_S = 900
"""The longest wait, and how long a wrong attempt is remembered."""
_FIRST_S = 2
_MOST_KEPT = 20_000
_EVERYWHERE = "\0"

_Who = tuple[str, str]


class _Wrong(NamedTuple):
    times: int
    last_at: int


class LoginThrottle:
    """Counts wrong attempts, by sender and by name at a sender; forgets those long ago."""

    def __init__(self) -> None:
        self._wrong: OrderedDict[_Who, _Wrong] = OrderedDict()

    def wait_s(self, address: str, name: str, now: int) -> int:
        """Return how long this address must wait until it may try this name; 0 for not at all."""
        who, what = sender(address), _hash(name)
        guessed_at = self._of((_EVERYWHERE, what), now).times >= GUESSED_AT
        free = 1 if guessed_at else FREE_OF_NAME
        return max(
            _left_s(self._of((who, what), now), free, now),
            _left_s(self._of((who, ""), now), FREE_OF_SENDER, now),
        )

    def wrong(self, address: str, name: str, now: int) -> None:
        """Note an attempt that failed."""
        for key in self._keys(address, name):
            self._wrong[key] = _Wrong(self._of(key, now).times + 1, now)
            self._wrong.move_to_end(key)
        while len(self._wrong) > _MOST_KEPT:
            self._wrong.popitem(last=False)

    def right(self, address: str, name: str) -> None:
        """Forget the failed attempts of somebody who has come in."""
        self._wrong.pop((sender(address), _hash(name)), None)

    def _keys(self, address: str, name: str) -> tuple[_Who, ...]:
        who, what = sender(address), _hash(name)
        return (who, what), (who, ""), (_EVERYWHERE, what)

    def _of(self, key: _Who, now: int) -> _Wrong:
        found = self._wrong.get(key)
        # One of the future is from before the clock was set back.
        fresh = found is not None and 0 <= now - found.last_at < LONGEST_S
        return found if found is not None and fresh else _Wrong(0, now)


def _left_s(wrong: _Wrong, free: int, now: int) -> int:
    """What is left of the wait: 2 s after the last attempt that is free, then twice as long."""
    if wrong.times < free:
        return 0
    wait = min(LONGEST_S, _FIRST_S << min(wrong.times - free, 20))
    return max(0, wrong.last_at + wait - now)


def _hash(name: str) -> str:
    # Names are typed by strangers: of any length, and in as many as they like.
    return hashlib.blake2s(name.encode("utf-8", "replace"), digest_size=8).hexdigest()
