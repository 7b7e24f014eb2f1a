"""Where a limit comes from, and how hard it binds."""

from enum import StrEnum

from pydantic import BaseModel


class Origin(StrEnum):
    """Where a bound comes from. A label's or law's bound may be tightened, never loosened."""

    LABEL = "label"
    LAW = "law"
    STATE_LAW = "state law"
    NATIONAL_LAW = "national law"
    OWN = "own"
    DEFAULT = "default"
    """This program's, where nobody said anything: never called the grower's own."""

    @classmethod
    def of_key(cls, table: BaseModel, key: str) -> "Origin":
        """Return whose the value of a key is: the grower's where the farm file has it, or ours."""
        return cls.OWN if key in table.model_fields_set else cls.DEFAULT


class Force(StrEnum):
    """How hard a rule binds."""

    BAN = "ban"
    """Broken, nothing may be sprayed."""
    CONDITION = "condition"
    """Something must be so, and be known to be so, before spraying."""
    ADVICE = "advice"
    """Shown, never enforced: a field that goes against it is marginal."""


STRICTNESS = {
    Origin.DEFAULT: -1,
    Origin.OWN: 0,
    Origin.LABEL: 1,
    Origin.LAW: 2,
    Origin.STATE_LAW: 2,
    Origin.NATIONAL_LAW: 2,
}
"""Of two equal bounds the stricter origin is the one that is named."""
