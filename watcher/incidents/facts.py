"""What an account of an incident holds, as it is written down: plain values, SI.

These models are the content of entries of the records' chain: a value may be added with a default,
one that was ever written is never renamed or given another meaning.
"""

from typing import Any, Literal

from watcher.records.facts import Air, Held, Part, Pause

Suspected = Literal["onto us", "from us"]
"""Which way drift is suspected: onto the farm's crop, or from one of its jobs."""
InCone = Literal["in", "out", "not known"]
KIND = "incident"
"""The kind of the entries."""


class IncidentPlace(Part):
    """Where it was seen."""

    said: str
    """As it was written: a field, a neighbour, or coordinates."""
    latitude: float
    longitude: float
    """Of its middle, WGS 84."""
    shape: dict[str, Any]
    """GeoJSON geometry (RFC 7946): a point, or the boundary of the field or neighbour."""


class Silence(Part):
    """A stretch without a reading of a station."""

    since: int
    until: int


class StationThen(Part):
    """A station of the farm: where it stands from the place, and what it measured in the time."""

    name: str
    distance_m: float | None
    """None where nobody said where it stands."""
    bearing_deg: float | None
    """From the place; None where it stands in it."""
    readings: int
    whole: bool
    """Whether the log still has its readings one by one; else only means are left of them."""
    silent: tuple[Silence, ...]
    """When nothing usable of it is in the log for longer than a mean of the wind takes."""


class Cone(Part):
    """Where the wind came from in the time, as the angle that holds its direction and swing."""

    low_deg: float
    high_deg: float
    """From the one clockwise to the other, as directions the wind came from."""
    all_round: bool
    """Whether the wind came from so many sides that no angle leaves any of them out."""
    known: int
    """At how many of the moments the direction is known."""
    foretold: int
    """At how many of them only a forecast gave it."""
    swing_by_default: int
    """At how many the swing was not measured, and the farm file's stands in."""


class LayThere(Part):
    """A field or a neighbour and how it lies from the place."""

    kind: Literal["field", "neighbour"]
    name: str
    grows: str
    distance_m: float
    """Between the nearest edges."""
    bearing_deg: float | None
    """From the place to its nearest edge; None where they touch."""
    upwind: InCone
    downwind: InCone


class JobThen(Part):
    """A job of ours that was open then or shortly before, and what its record says."""

    job: int
    field: str
    setup: str
    sprayer: str
    state: str
    started: int
    ended: int | None
    pauses: tuple[Pause, ...]
    during: bool
    """Whether it was open at some time of the account; else it had ended before."""
    distance_m: float | None
    """From the place to its field; None where the farm file has the field no longer."""
    bearing_deg: float | None
    upwind: InCone
    """Whether its field lies upwind of the place."""
    record: Literal["none", "open", "closed"]
    record_entry: int | None
    """The newest entry of its record in the chain."""
    record_hash: str | None
    values: dict[str, Held]
    """What its record says of products, rates and rig."""


class Account(Part):
    """One account, as it is sealed."""

    number: int
    suspected: Suspected
    seen: str
    """What was seen, in the words of whoever wrote it."""
    farm: str
    time_zone: str
    units: Literal["us", "metric"]
    place: IncidentPlace
    told_at: int | None
    """The time that was named, where that was one moment and not a span."""
    start: int
    end: int
    """The span the account is of."""
    field: str
    """The field whose weather is given: the nearest to the place."""
    moments: tuple[Air, ...]
    stations: tuple[StationThen, ...]
    cone: Cone | None
    """None where the direction is not known at any moment."""
    there: tuple[LayThere, ...]
    within_m: float
    """How far off who lies where was looked for."""
    jobs: tuple[JobThen, ...]
    before_s: int
    """For how long before the span jobs were looked for."""
    ground: dict[str, dict[str, Any]]
    """Boundaries of those that lie there, GeoJSON by kind and name: "field creek_side"."""
    step: str | None = None
    """The key it was sent with: the same one is written once."""
