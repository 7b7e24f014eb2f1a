"""The token each station posts with: the settings', else one that is made and never kept."""

from collections.abc import Iterator, Mapping

from pydantic import SecretStr

from watcher.web.auth.sessions import SessionStore


class StationTokens(Mapping[str, SecretStr]):
    """Tokens by station. Whoever sets one in the settings sets that one alone.

    A made one follows from the secret of the file of sessions, so that nothing more is to be kept.
    """

    def __init__(self, given: Mapping[str, SecretStr], sessions: SessionStore) -> None:
        self._given, self._sessions = given, sessions

    def __getitem__(self, station: str) -> SecretStr:
        return self._given.get(station) or self._sessions.secret_for(f"station {station}")

    def __iter__(self) -> Iterator[str]:
        return iter(self._given)

    def __len__(self) -> int:
        return len(self._given)
