"""How the watch itself is: what is stale, what waits to be sent, when it last judged."""

from dataclasses import asdict, dataclass

_JUDGED_WITHIN_S = 120


@dataclass(frozen=True)
class SourceNow:
    """One source's state. Ages in seconds, None when it never said anything."""

    name: str
    age_s: int | None
    stale: bool
    failures_in_a_row: int
    why: str | None
    attribution: str


@dataclass(frozen=True)
class Health:
    """The whole watch. ``well`` is false as soon as anything below it is not as it should be."""

    at: int
    judged_at: int | None
    sources: tuple[SourceNow, ...]
    waiting_messages: int
    oldest_waiting_s: int | None

    @property
    def well(self) -> bool:
        judged = self.judged_at is not None and self.at - self.judged_at <= _JUDGED_WITHIN_S
        return judged and not any(s.stale for s in self.sources)

    def as_json(self) -> dict[str, object]:
        """Return plain values for JSON."""
        return {"well": self.well} | asdict(self)
