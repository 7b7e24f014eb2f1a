"""A time of the day as rules write it: "23:00", "sunset", "2 h before sunset"."""

import re
from dataclasses import dataclass
from datetime import time
from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from watcher.i18n.message import Message, say
from watcher.units import Kind, UnreadableQuantityError, read

Event = Literal["sunrise", "sunset"]
_LONGEST_S = 12 * 3600.0
_NOON = time(12)
NOT_A_TIME = say("is not a time of the day")
MEND = say('write a time such as "23:00", "sunrise", "1 h after sunrise" or "2 h before sunset"')


class UnreadableDayTimeError(ValueError):
    """A text is no time of the day. ``reason`` is worded for the farm file."""

    def __init__(self, reason: Message) -> None:
        self.reason = reason
        super().__init__(str(reason))


@dataclass(frozen=True)
class DayTime:
    """A time by the sun (``event`` and so many seconds after it) or by the farm's clock."""

    event: Event | None
    after_s: float = 0.0
    clock: time | None = None

    @classmethod
    def read(cls, text: str) -> Self:
        """Read ``"2 h before sunset"``. Raises UnreadableDayTimeError."""
        if match := re.fullmatch(r"([01][0-9]|2[0-3]):([0-5][0-9])", text.strip()):
            return cls(None, clock=time(int(match[1]), int(match[2])))
        match = re.fullmatch(r"\s*(?:(.+?)\s+(before|after)\s+)?(sunrise|sunset)\s*", text)
        if match is None:
            raise UnreadableDayTimeError(NOT_A_TIME)
        try:
            away = read(match[1], Kind.DURATION) if match[1] else 0.0
        except UnreadableQuantityError as error:
            raise UnreadableDayTimeError(error.reason) from None
        if not 0 <= away <= _LONGEST_S:
            raise UnreadableDayTimeError(say("is more than 12 h from the sun"))
        event: Event = "sunrise" if match[3] == "sunrise" else "sunset"
        return cls(event, -away if match[2] == "before" else away)

    @property
    def in_the_morning(self) -> bool:
        """Whether it belongs to the first half of a day."""
        return self.event == "sunrise" if self.clock is None else self.clock < _NOON

    def __str__(self) -> str:
        if self.clock is not None:
            return f"{self.clock:%H:%M}"
        if not self.after_s:
            return str(self.event)
        minutes = round(abs(self.after_s) / 60)
        away = f"{minutes} min" if minutes % 60 else f"{minutes // 60} h"
        return f"{away} {'after' if self.after_s > 0 else 'before'} {self.event}"


def _day_time(value: object) -> object:
    if isinstance(value, DayTime):
        return value
    if isinstance(value, str):
        try:
            return DayTime.read(value)
        except UnreadableDayTimeError as error:
            raise PydanticCustomError("day_time", "no time", {"why": error.reason}) from None
    raise PydanticCustomError("day_time", "no text", {"why": NOT_A_TIME})


DayTimeText = Annotated[
    DayTime,
    BeforeValidator(_day_time),
    WithJsonSchema({"type": "string", "examples": ["2 h before sunset", "23:00"]}),
]
"""A time of the day as written, held as a ``DayTime``."""
