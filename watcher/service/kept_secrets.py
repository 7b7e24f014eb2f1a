"""The secrets of the watch: what opens a phone's channel, a station's post, a feed, a broker.

Those of the environment and the settings file stand first; the others were set on a page or by a
program and are kept in a file of the state folder that its owner alone may read. No text made here
holds any of them.
"""

import json
import os
import stat
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, SecretStr, ValidationError

from watcher.i18n.message import Message, say
from watcher.settings import Settings, wrong_secret
from watcher.store.whole_files import write_whole

FILE = "secrets.json"
"""Its name in the state folder."""
_OTHERS = stat.S_IRWXG | stat.S_IRWXO


class SecretKind(StrEnum):
    """What a secret is for; called as the table of the settings that it may stand in."""

    PUSH = "push_urls"
    """Where a recipient is reached, by recipient."""
    STATION = "station_tokens"
    """What a station posts with, by source."""
    BROKER = "broker_passwords"
    """The password of a station heard by MQTT, by source."""
    FEED = "api_keys"
    """The key of a feed, by source."""


class SecretRefusedError(ValueError):
    """This cannot be kept; ``wrong`` says why, without it."""

    def __init__(self, wrong: Message) -> None:
        super().__init__(str(wrong))
        self.wrong = wrong


@dataclass(frozen=True)
class SecretState:
    """That a secret is set, and nothing of it."""

    at: int | None
    """When it was set; None for one of the settings. [epoch s]"""
    by: str = ""

    @property
    def of_settings(self) -> bool:
        """Whether it stands in the environment or the settings file, and is changed only there."""
        return self.at is None


class _Kept(BaseModel):
    model_config = ConfigDict(frozen=True, hide_input_in_errors=True, extra="forbid")

    secret: SecretStr
    at: int
    by: str = ""


class Secrets:
    """Every secret by kind and name. From any thread; what is kept is used at once."""

    def __init__(
        self,
        file: Path | None = None,
        given: Mapping[SecretKind, Mapping[str, SecretStr]] | None = None,
        *,
        now: int | None = None,
    ) -> None:
        """Read the file; None keeps everything in memory. ``given`` are those of the settings.

        ``now`` is given by who may mend the file: a damaged one is moved aside under that time.
        """
        self._file, self._given = file, given or {}
        self._lock = threading.Lock()
        self._unusable = False
        self.troubles: list[Message] = []
        """What was wrong with the file, and what that means."""
        self.lost = False
        """Whether some of what was kept is not known any more."""
        self._kept: dict[SecretKind, dict[str, _Kept]] = {kind: {} for kind in SecretKind}
        if file is not None:
            self._read(file, now)

    @classmethod
    def of(cls, settings: Settings, *, now: int | None = None) -> "Secrets":
        """Return the secrets of these settings and of their state folder."""
        given = {kind: getattr(settings, kind.value) for kind in SecretKind}
        return cls(settings.state_dir / FILE, given, now=now)

    def secret(self, kind: SecretKind, name: str) -> SecretStr | None:
        """Return the secret of a name, wherever it stands: everybody who needs one asks here."""
        if (given := self._given.get(kind, {}).get(name)) is not None:
            return given
        kept = self._kept[kind].get(name)
        return None if kept is None else kept.secret

    def all_of(self, kind: SecretKind) -> Mapping[str, SecretStr]:
        """Return the secrets of a kind by name, always as they are now."""
        return _AllOf(self, kind)

    def names(self, kind: SecretKind) -> list[str]:
        """Return whose secrets of a kind are set."""
        return list(dict.fromkeys([*self._given.get(kind, {}), *self._kept[kind]]))

    def state(self, kind: SecretKind, name: str) -> SecretState | None:
        """Return that and since when a secret is set; None where it is not."""
        if name in self._given.get(kind, {}):
            return SecretState(None)
        kept = self._kept[kind].get(name)
        return None if kept is None else SecretState(kept.at, kept.by)

    def check(self, kind: SecretKind, name: str, text: str) -> None:
        """Raise ``SecretRefusedError`` where this may not become the secret of a name."""
        if name in self._given.get(kind, {}):
            raise SecretRefusedError(
                say(
                    "is set by {variable} in the settings of the watch, which stands first: "
                    "change it there",
                    variable=f"WATCHER_{kind.value.upper()}__{name}",
                )
            )
        if (wrong := wrong_secret(kind.value, text)) is not None:
            raise SecretRefusedError(wrong)

    def keep(self, kind: SecretKind, name: str, text: str, *, by: str, at: int) -> None:
        """Keep a secret in place of the one before, for use at once.

        Raises ``SecretRefusedError``, and ``OSError`` where it cannot be written: the one before
        then stays.
        """
        self.check(kind, name, text)
        with self._lock:
            self._write(
                kind, self._kept[kind] | {name: _Kept(secret=SecretStr(text), at=at, by=by)}
            )

    def remove(self, kind: SecretKind, name: str) -> bool:
        """Forget a secret that is kept; returns whether there was one. Raises ``OSError``."""
        with self._lock:
            if name not in self._kept[kind]:
                return False
            self._write(kind, {n: k for n, k in self._kept[kind].items() if n != name})
        return True

    def _write(self, kind: SecretKind, entries: dict[str, _Kept]) -> None:
        if self._unusable:
            raise PermissionError(None, "the file of secrets cannot be used")
        kept = self._kept | {kind: entries}
        if self._file is not None:
            plain = {
                kind.value: {
                    name: {"secret": one.secret.get_secret_value(), "at": one.at, "by": one.by}
                    for name, one in of_kind.items()
                }
                for kind, of_kind in kept.items()
            }
            write_whole(self._file, json.dumps(plain, indent=1))
        self._kept = kept

    def _read(self, file: Path, now: int | None) -> None:
        try:
            text = self._owners_only(file)
        except FileNotFoundError:
            return
        except OSError as error:
            self._unusable = self.lost = True
            self.troubles.append(
                say(
                    "The file of secrets cannot be used ({why}): push addresses, tokens and keys "
                    "set on the pages are not known. Let this user alone read and write {file}, "
                    "then start the watch anew",
                    why=str(error.strerror),
                    file=str(file),
                )
            )
            return
        try:
            self._take(json.loads(text))
        except (ValueError, RecursionError, AttributeError):
            self._damaged(file, now)

    def _owners_only(self, file: Path) -> bytes:
        """Read the file once nobody but its owner may. Raises ``OSError`` where that cannot be."""
        with os.fdopen(os.open(file, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK), "rb") as opened:
            mode = os.fstat(opened.fileno()).st_mode
            if not stat.S_ISREG(mode):
                raise OSError(None, "it is no plain file")
            if mode & _OTHERS:
                os.fchmod(opened.fileno(), 0o600)
                self.troubles.append(
                    say(
                        "Others on this machine could read the file of secrets: that is mended. "
                        "Replace the push addresses, tokens and keys that it holds"
                    )
                )
            return opened.read()

    def _take(self, plain: Any) -> None:
        """Take what can be read: a damaged entry costs only itself."""
        for kind in SecretKind:
            for name, entry in plain.get(kind.value, {}).items():
                try:
                    one = _Kept.model_validate(entry)
                    wrong = wrong_secret(kind.value, one.secret.get_secret_value())
                except ValidationError:
                    wrong = say("it cannot be read")
                if wrong is None:
                    self._kept[kind][name] = one
                    continue
                self.lost = True
                self.troubles.append(
                    say(
                        "The secret kept for {name} ({kind}) cannot be used: {wrong}. Set it again",
                        name=name,
                        kind=KIND_WORDS[kind],
                        wrong=wrong,
                    )
                )

    def _damaged(self, file: Path, now: int | None) -> None:
        self._kept, self.lost = {kind: {} for kind in SecretKind}, True
        aside = file.with_name(f"{file.name}.damaged-{now}")
        if now is not None:
            try:
                file.rename(aside)
            except OSError:
                self._unusable = True
        self.troubles.append(
            say(
                "The file of secrets was damaged and is set aside: push addresses, tokens and keys "
                "set on the pages are lost. Set them again"
            )
        )


KIND_WORDS: Mapping[SecretKind, Message] = {
    SecretKind.PUSH: say("push address"),
    SecretKind.STATION: say("station's token"),
    SecretKind.BROKER: say("broker's password"),
    SecretKind.FEED: say("feed's key"),
}
"""What each kind is called."""


class _AllOf(Mapping[str, SecretStr]):
    """The secrets of a kind as they are at each look."""

    def __init__(self, secrets: Secrets, kind: SecretKind) -> None:
        self._secrets, self._kind = secrets, kind

    def __getitem__(self, name: str) -> SecretStr:
        if (found := self._secrets.secret(self._kind, name)) is None:
            raise KeyError(name)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self._secrets.names(self._kind))

    def __len__(self) -> int:
        return len(self._secrets.names(self._kind))
