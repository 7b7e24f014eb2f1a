"""Who may come in and what they may do: users with a passphrase, programs with a token."""

import hmac
import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property
from typing import TYPE_CHECKING

from pydantic import SecretStr

from watcher.i18n.message import Message, say
from watcher.settings import end_of_token

if TYPE_CHECKING:
    from argon2 import PasswordHasher

_ENTRY = re.compile(r"(look|run|administer)(?: until ([^\s:]+))?:(\S+)")


class Role(IntEnum):
    """What somebody may do; each role may do what those before it may."""

    LOOK = 1
    """See everything of the farm."""
    RUN = 2
    """Run spraying jobs and acknowledge alerts as well."""
    ADMINISTER = 3
    """Change the farm, let other devices in and put them out as well."""

    @property
    def word(self) -> str:
        """The role as the settings have it."""
        return self.name.lower()

    @property
    def text(self) -> Message:
        """What somebody may do, to be read."""
        return _ROLE_WORDS[self]


_ROLE_WORDS: dict[Role, Message] = {
    Role.LOOK: say("look"),
    Role.RUN: say("run"),
    Role.ADMINISTER: say("administer"),
}


@dataclass(frozen=True)
class User:
    """Somebody who is let in."""

    name: str
    role: Role
    guest: int | None = None
    """The number of an access that has an end; None for who is in without one."""
    until: int | None = None
    """When the token of a program ends; None: not by itself. [epoch s]"""

    def over(self, now: int) -> bool:
        """Return whether the token has ended."""
        return self.until is not None and self.until < now


@dataclass(frozen=True)
class _Entry:
    role: Role
    secret: str
    until: int | None


def _entry(entry: SecretStr) -> _Entry:
    found = _ENTRY.fullmatch(entry.get_secret_value())
    if found is None:  # the settings are checked when they are read
        raise ValueError("an entry of users or programs is not role:secret")
    until = None if found[2] is None else end_of_token(found[2])
    return _Entry(Role[found[1].upper()], found[3], until)


class Users:
    """Everybody the settings let in: ``role:hash`` by user, ``role:token`` by program.

    The token of a program may have a last day: ``role until 2026-09-30:token``.
    """

    def __init__(
        self, users: Mapping[str, SecretStr] | None = None, programs: Mapping[str, SecretStr] = {}
    ) -> None:
        self._users = {name: _entry(entry) for name, entry in (users or {}).items()}
        self._programs = {name: _entry(entry) for name, entry in programs.items()}

    def user(self, name: str, passphrase: str) -> User | None:
        """Return the user of that name and passphrase. Slow on purpose: call it off the loop."""
        found = self._users.get(name)
        # Somebody unknown takes as long: nobody learns which names exist.
        fits = verify(found.secret if found else self._nobody, passphrase)
        return User(name, found.role) if found and fits else None

    def program(self, token: str) -> User | None:
        """Return the program that has a token, also one that has ended."""
        fitting = [
            User(name, entry.role, until=entry.until)
            for name, entry in self._programs.items()
            if hmac.compare_digest(entry.secret.encode(), token.encode())
        ]
        return fitting[0] if fitting else None

    @property
    def people(self) -> list[User]:
        """Everybody with a passphrase."""
        return [User(name, entry.role) for name, entry in self._users.items()]

    @property
    def of_programs(self) -> list[User]:
        """Every program with a token."""
        return [User(name, entry.role, until=entry.until) for name, entry in self._programs.items()]

    def role_of(self, name: str) -> Role | None:
        """Return a user's role as the settings have it now; None when they name nobody so."""
        return self._users[name].role if name in self._users else None

    @cached_property
    def _nobody(self) -> str:
        return hashed("nobody")


def hashed(passphrase: str) -> str:
    """Return the argon2id hash of a passphrase, to be kept in the settings."""
    return _hasher().hash(passphrase)


def verify(known: str, passphrase: str) -> bool:
    """Return whether a passphrase is the one a hash was made of."""
    from argon2.exceptions import InvalidHashError, VerificationError  # noqa: PLC0415

    try:
        return _hasher().verify(known, passphrase)
    except (VerificationError, InvalidHashError):
        return False


def _hasher() -> "PasswordHasher":
    from argon2 import PasswordHasher  # noqa: PLC0415

    # 19 MiB, two passes (OWASP's password storage cheat sheet, value from memory): a farm's small
    # machine keeps room for the watch.
    return PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
