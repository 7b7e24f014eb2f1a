"""What every rule has: how hard it binds, whose it is, where it is written, how long it stands."""

from datetime import date
from typing import Annotated

from pydantic import Field

from watcher.farm.base import FarmModel, Words
from watcher.farm.origin import Force, Origin
from watcher.farm.sprayer_kind import GroundSprayer, SprayerKind

# TOML has dates of its own; text or a number in their place is a mistake.
Day = Annotated[date, Field(strict=True)]


class RuleBase(FarmModel):
    """One rule. The label in hand prevails: what is written here is a copy of it."""

    force: Force = Force.BAN
    """Whether it bans, asks for something to be known to be so, or only advises."""
    origin: Origin = Origin.LABEL
    """Whose rule it is."""
    jurisdiction: Words | None = None
    """The state or country whose law it is."""
    citation: Words | None = None
    """Where it is written: the label's section, the law's article."""
    valid_from: Day | None = None
    """First day it is valid; always so when not given."""
    valid_until: Day | None = None
    """Last day it is valid; without end when not given."""
    verified_by: Words | None = None
    """Who compared it with the text it copies."""
    verified_on: Day | None = None
    """When they did."""

    def valid_on(self, day: date) -> bool:
        """Return whether the rule is in force on a local calendar day, both its ends included."""
        return (self.valid_from is None or self.valid_from <= day) and (
            self.valid_until is None or day <= self.valid_until
        )


class OfSprayers(RuleBase):
    """A rule that may be of some kinds of sprayers only."""

    sprayers: tuple[GroundSprayer, ...] = ()
    """Kinds of sprayers it is for; for all of them when not given."""


def is_for(rule: RuleBase, kind: SprayerKind) -> bool:
    """Return whether a rule says anything of a kind of sprayer."""
    return not isinstance(rule, OfSprayers) or not rule.sprayers or kind in rule.sprayers
