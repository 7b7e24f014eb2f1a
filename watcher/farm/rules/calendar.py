"""Rules on the hour, the date and the crop's stage."""

from typing import Annotated, Literal

from pydantic import Field

from watcher.farm.base import Words
from watcher.farm.rules.base import Day, RuleBase
from watcher.farm.rules.day_time import DayTimeText
from watcher.units import Temperature


class ClockRule(RuleBase):
    """Hours of the day outside which nothing may be sprayed, begun, or left unfinished.

    Times are of the field's own place and rounded inward to the minute. What is open past midnight
    closes the next morning. Where one side is left out, a time by the sun reaches to sunrise or
    sunset, a time by the clock to midnight.
    """

    kind: Literal["clock"]
    opens: DayTimeText | None = None
    """From when on."""
    closes: DayTimeText | None = None
    """Until when."""
    binds: Literal["spraying", "start", "end"] = "spraying"
    """Whether it binds every minute of spraying, only its start, or also the end of the job."""
    if_high_over: Temperature | None = None
    """Only on days whose high is over this; every day when not given."""


class DateRule(RuleBase):
    """Days of the farm's calendar on which spraying is allowed, or closed; both ends included."""

    kind: Literal["dates"]
    first: Day | None = None
    """First day; from ever when not given."""
    last: Day | None = None
    """Last day; for ever when not given."""
    means: Literal["allowed", "closed"] = "allowed"
    """Whether it is allowed from first to last, or closed."""


class StageRule(RuleBase):
    """The last time by date, by the crop's stage, or by days after planting: whichever is first."""

    kind: Literal["stage"]
    last: Day | None = None
    """Last day by the calendar."""
    until_stage: Words | None = None
    """Stage at which it ends, as the field's stages name it: from the day it is seen on."""
    days_after_planting: Annotated[int, Field(ge=0, le=400, strict=True)] | None = None
    """Last day by days after planting."""


CalendarRule = ClockRule | DateRule | StageRule
