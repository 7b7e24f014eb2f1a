"""What a page says of one field: its status, one sentence, the room left, when it opens."""

from dataclasses import dataclass

from markupsafe import Markup

from watcher.alerts.wording.words import SHAPES, name, span
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import Reason
from watcher.judge.status import Stand, Status
from watcher.web.draw.room import room
from watcher.web.house import House

_WHOLE = 0.995


@dataclass(frozen=True)
class Standing:
    """A status as it is shown: a word and a shape."""

    status: Status

    @property
    def word(self) -> str:
        return self.status.word

    @property
    def shape(self) -> str:
        return SHAPES[self.status]


@dataclass(frozen=True)
class Line:
    """One limit as it is shown."""

    stand: Stand
    sentence: str
    room: Markup

    @property
    def word(self) -> str:
        return self.stand.name.lower()


@dataclass(frozen=True)
class FieldSight:
    """One field now, in words. Times are on the farm's clock; None where there is none to tell."""

    field: str
    standing: Standing
    binding: Line
    setup: str | None
    takes: str
    until: str | None
    share: str | None
    can_wait: str | None
    opens: str | None

    @property
    def title(self) -> str:
        return name(self.field)


def line(house: House, field: str, reason: Reason) -> Line:
    """Show one limit of a field."""
    said = house.speaker.reason(field, reason)
    margin = house.farm.told.judging.margin
    return Line(reason.stand, f"{said[0].upper()}{said[1:]}", room(reason, margin))


def field_sight(house: House, seen: FieldNow) -> FieldSight:
    """Show one field of the ranking."""

    def told(at: int | None) -> str | None:
        return None if at is None else house.clock(at)

    can_spray = seen.status >= Status.MARGINAL
    return FieldSight(
        field=seen.field,
        standing=Standing(seen.status),
        binding=line(house, seen.field, seen.binding),
        setup=name(seen.setup) if seen.setup else None,
        takes=span(seen.duration_s),
        until=told(seen.breaks_at) if can_spray else None,
        share=f"{seen.share_done:.0%}" if can_spray and seen.share_done < _WHOLE else None,
        can_wait=told(seen.can_wait_until),
        opens=told(seen.opens_at),
    )
