"""What a record holds, as it is written down: plain values, SI, None for what is not known.

These models are the content of entries. A value may be added with a default; one that was ever
written is never renamed or given another meaning, or old records could not be read.
"""

from enum import StrEnum
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

Value = str | float
Origin = Literal["farm file", "job log", "typed in", "worked out", "corrected"]
"""Where a value comes from."""

Known = Literal["from its text", "from a summary", "from memory"]
"""How what a rule says is known here. Whatever is not from its text is to be looked up."""


class Part(BaseModel):
    """A part of an entry: nothing unknown in it, nothing changed after it is made."""

    model_config = ConfigDict(frozen=True, extra="forbid", use_attribute_docstrings=True)


class Held(Part):
    """A value of the form and where it comes from."""

    value: Value
    origin: Origin


class LimitStood(Part):
    """How a limit stood: value and bounds in SI, None where there is none."""

    stand: str
    value: float | None
    low: float | None
    high: float | None
    origin: str
    """Where the bound that acted comes from: label, law, the grower or this program."""
    low_origin: str | None = None
    """Where each bound comes from; None where there is none, or in entries of before that."""
    high_origin: str | None = None


class Spoke(Part):
    """Who spoke for a quantity and how old that was."""

    source: str | None
    age_s: float | None
    measured: bool


class Quality(Part):
    """The readings of a source that the values of a moment were taken from."""

    source: str
    readings: int
    flagged: dict[str, int]
    """What quality control doubted, and in how many readings: those values were not used."""
    came_later: int
    """Readings that arrived only after the moment: who judged it then did not have them."""


class NeighbourDownwind(Part):
    """A neighbour the spray may have gone to."""

    neighbour: str
    side: str
    gap_m: float


class Landing(Part):
    """What may have landed on a neighbour, in percent of the field's rate."""

    neighbour: str
    side: str
    gap_m: float
    edge_pct: float | None
    upper_pct: float | None
    tolerance_pct: float | None
    """What it stands; None for one that takes no harm."""
    extrapolated: bool
    origin: str | None = None
    """Whose the share is that it stands; None in entries of before it was kept."""
    as_open_boom: bool | None = None
    """Whether it was estimated as if there were no hood; None in entries of before it was kept."""


class BufferKept(Part):
    """How the buffer behind a strip was worked out. Lengths in m."""

    of: str
    """Who asks for it: ``"product contact_a"``."""
    origin: str
    citation: str | None
    base_m: float
    reduced_by: tuple[str, ...]
    """What made it smaller, and how: ``"50 %: hood"``, ``"to 5.0 m: 3 stars"``."""
    combine: str
    """How several reductions go together."""
    required_m: float
    gap_m: float
    gap_counted_m: float
    """So much of the gap may lie inside the buffer."""


class ToLeave(Part):
    """Ground to be left unsprayed beside a neighbour by label or law, as it was judged."""

    neighbour: str
    side: str
    depth_m: float
    """How deep into the field from its edge."""
    shape: dict[str, Any]
    """GeoJSON geometry (RFC 7946)."""
    how: BufferKept | None = None
    """How it was worked out; None in entries of before it was kept."""


class Air(Part):
    """The weather at one moment, who reported it, and what it says of an inversion."""

    at: int
    mark: str
    """``"start"``, the time since then, or ``"end"``."""
    wind_m_s: float | None
    wind_height_m: float
    """Height the wind is measured at, above ground."""
    gust_m_s: float | None
    wind_from_deg: float | None
    wind_spread_deg: float | None
    temp_c: float | None
    temp_height_m: float
    humidity_pct: float | None
    delta_t_k: float | None
    inversion: str
    stability: str
    evidence: dict[str, str]
    """What each line of evidence for an inversion says, by name."""
    spoken: dict[str, Spoke]
    quality: tuple[Quality, ...]


class Moment(Air):
    """The weather at one moment of a job as it was judged, and what followed from it."""

    paused: bool
    setup: str
    boom_wind_m_s: float | None
    """The same wind brought to boom height."""
    boom_gust_m_s: float | None
    boom_height_m: float
    """Nozzle tips above ground: canopy and boom height together."""
    status: str
    limits: dict[str, LimitStood]
    downwind: tuple[NeighbourDownwind, ...]
    landing: tuple[Landing, ...]
    to_leave: tuple[ToLeave, ...] | None = None
    """None in entries of before it was kept."""


class Pause(Part):
    """A pause; ``until`` is None while it lasts."""

    since: int
    until: int | None
    why: str


class Rig(Part):
    """A setup and from when it was used. Its details are values of the form."""

    since: int
    setup: str


class MeasuredByHand(Part):
    """What was measured by hand at boom height during the job, as it was written."""

    at: int
    by: str
    said: dict[str, str]


class RigChanged(Part):
    """What was changed on the sprayer or its tank during the job, or left of the field."""

    at: int
    by: str
    said: dict[str, str]
    """As it was written: retardant, rate, boom, speed, strip, beside."""


class StartedAgainst(Part):
    """A limit that stood against the start, and was answered with a plain yes."""

    limit: str
    against: str
    """Broken, unknown, an hour of the day that closes before the end, or a strip to leave."""
    origin: str
    at: int
    said: str
    """As it was asked before the yes, in the farm's language of then."""


class Kept(Part):
    """What the job log, the weather log and the farm file say of a job."""

    farm: str
    time_zone: str
    units: Literal["us", "metric"]
    field: str
    state: str
    """The job's: finished or abandoned; or running or paused when looked at before its end."""
    started: int
    ended: int
    pauses: tuple[Pause, ...]
    rigs: tuple[Rig, ...]
    boundary: dict[str, Any]
    """GeoJSON geometry (RFC 7946)."""
    values: dict[str, Held]
    moments: tuple[Moment, ...]
    against: tuple[StartedAgainst, ...] = ()
    by_hand: tuple[MeasuredByHand, ...] = ()
    changed: tuple[RigChanged, ...] = ()


class AlertSent(Part):
    """A message about the job."""

    at: int
    kind: str
    said: str
    recipient: str
    state: str
    sent_at: int | None
    acknowledged_at: int | None
    acknowledged_by: str | None


class Missing(Part):
    """Something a rule asks for that the record does not have."""

    rule: str
    what: str
    key: str
    """Key of the form it can be typed in under."""
    known: Known


class Closing(Part):
    """A record as it was closed."""

    values: dict[str, Held]
    alerts: tuple[AlertSent, ...]
    rules: tuple[str, ...]
    """By the names they had then."""
    missing: tuple[Missing, ...]
    incomplete: str | None
    """Why it was closed though something was missing."""


class Correction(Part):
    """One value put right after the record was closed."""

    key: str
    old: Value | None
    new: Value
    why: str
    step: str | None = None
    """The key of the form it was sent with: the same form is taken once."""


class EnteredValues(Part):
    """Values typed in, by key."""

    values: dict[str, Held]
    step: str | None = None
    """The key of the form they were sent with: the same form is taken once."""


class EntryKind(StrEnum):
    """What an entry holds."""

    KEPT = "kept"
    ENTERED = "told"  # the word in every chain sealed so far
    CLOSED = "closed"
    CORRECTED = "corrected"
