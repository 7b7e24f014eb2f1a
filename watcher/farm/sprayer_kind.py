"""Kinds of sprayers, and what of each can be judged; those in the air cannot."""

from enum import StrEnum
from typing import Annotated, Any

from pydantic import BeforeValidator
from pydantic_core import PydanticCustomError


class SprayerKind(StrEnum):
    """How the spray is carried over the ground."""

    BOOM = "boom"
    HOODED_BOOM = "hooded boom"
    HAND_HELD = "hand-held"
    AIR_BLAST = "air-blast"

    @property
    def has_boom(self) -> bool:
        """Whether it has a boom with nozzles beside each other, as the drift trials had.

        Only of those a drift is estimated, by published curves of ground booms over field crops: a
        lance is swung by hand, and the fan of an air-blast throws the spray up and out.
        """
        return self in {SprayerKind.BOOM, SprayerKind.HOODED_BOOM}


_IN_THE_AIR = frozenset({"aerial", "aircraft", "airplane", "helicopter", "drone", "uav", "air"})


def _from_the_ground(value: Any) -> Any:
    if isinstance(value, str) and value.strip().lower() in _IN_THE_AIR:
        raise PydanticCustomError("aerial", "Input should be a ground sprayer")
    return value


GroundSprayer = Annotated[SprayerKind, BeforeValidator(_from_the_ground)]
