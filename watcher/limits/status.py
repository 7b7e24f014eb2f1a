"""The words of the judgement: statuses, how a limit stands, wind bands."""

from enum import IntEnum


class Status(IntEnum):
    """What a field (with a setup, at a time) is. Higher is better; only the last two are ranked."""

    UNSUITABLE = 0
    UNKNOWN = 1
    MARGINAL = 2
    SUITABLE = 3

    @property
    def word(self) -> str:
        return self.name.lower()


class LimitState(IntEnum):
    """How one limit stands. Codes equal the status it allows, so combining limits is a minimum:

    any broken → unsuitable; else any unknown → unknown; else any near → marginal; else suitable.
    """

    BROKEN = 0
    UNKNOWN = 1
    NEAR = 2
    HOLDS = 3


class Band(IntEnum):
    """Sustained wind at boom height against the window's low L and high H bounds."""

    UNKNOWN = -1
    STILL = 0  # under L. Not calm: direction wanders, inversions live here
    CALM = 1  # L to the calm share of H
    MARGINAL = 2  # up to H
    WINDY = 3  # over H
