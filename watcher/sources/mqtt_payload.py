"""What a message of a station holds: SenML, the JSON that stations post, or any JSON, mapped.

A message may be old when it comes: a broker hands out what it retained, and what it kept while this
side was away. Such a message counts only by a time of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from aiomqtt import Topic
from jmespath.parser import ParsedResult

from watcher.sources import json_text, readings, senml
from watcher.sources.feed_body import compiled, moment
from watcher.sources.json_text import finite
from watcher.sources.rows import Rows, believed, number, shifted
from watcher.weather.quantities import InUnit, in_unit


@dataclass(frozen=True)
class Payload:
    """A message's topic and bytes. ``kept``: by the broker, nobody knows how long."""

    topic: str
    body: bytes
    kept: bool


class Reader(Protocol):
    """Reads the messages of one station."""

    @property
    def topics(self) -> Sequence[str]:
        """Topics to listen on, wildcards allowed."""
        ...

    def rows(self, payload: Payload, now: int) -> Rows:
        """Return the rows of a message, none if it is kept and undated. ``ValueError`` if bad."""
        ...


@dataclass(frozen=True)
class Posted:
    """Messages that hold a body as stations post it. ``clock_ahead_s`` is the station's clock."""

    topics: Sequence[str]
    content_type: str
    clock_ahead_s: float = 0.0

    def rows(self, payload: Payload, now: int) -> Rows:
        """Return the rows of a message; raises ``ValueError`` for one that cannot be read."""
        rows = readings.rows_of(payload.body, self.content_type, now=now)
        if self.content_type == "application/senml+json" and _undated(payload.body):
            return {} if payload.kept else rows
        return shifted(rows, self.clock_ahead_s)


def _undated(body: bytes) -> bool:
    """Whether a record of a SenML pack is dated from the moment it is read (RFC 8428, 4.5.3)."""
    records = senml.resolve(json_text.loads(body), now=0)
    return any(record.time < senml.RELATIVE_BELOW for record in records)


@dataclass(frozen=True)
class MappedValue:
    """A quantity of mapped messages: the topics it comes on, where it stands, and its unit."""

    topic: str
    at: ParsedResult
    measure: InUnit

    @classmethod
    def of(cls, name: str, *, topic: str, at: str, unit: str) -> "MappedValue":
        """Build it from what the grower told; ``ValueError`` names what cannot be."""
        return cls(topic, compiled(f"quantities.{name}.at", at), in_unit(name, unit))


@dataclass(frozen=True)
class Mapped:
    """Messages of any JSON. Without ``time`` one is of the moment it comes."""

    values: Sequence[MappedValue]
    time: ParsedResult | None = None
    clock_ahead_s: float = 0.0

    @property
    def topics(self) -> Sequence[str]:
        """Topics to listen on, each once."""
        return list(dict.fromkeys(value.topic for value in self.values))

    def rows(self, payload: Payload, now: int) -> Rows:
        """Return the row of a message; raises ``ValueError`` for one that cannot be read."""
        if self.time is None and payload.kept:
            return {}
        if len(payload.body) > readings.MAX_BYTES:
            raise ValueError(f"it is over {readings.MAX_BYTES} bytes")
        said = json_text.loads(payload.body)
        row = {}
        for value in self.values:
            if Topic(payload.topic).matches(value.topic):
                found = value.at.search(said)
                if found is not None:
                    row[value.measure.quantity.series] = _si(value.measure, found)
        if not row:
            raise ValueError("it holds none of the quantities mapped")
        if self.time is None:
            return {now: row}
        time = believed("its time", moment(self.time.search(said)), now)
        return shifted({time: row}, self.clock_ahead_s)


def _si(measure: InUnit, found: object) -> float:
    value = number(found.strip()) if isinstance(found, str) else finite(found)
    if value is None:
        raise ValueError(f"its {measure.quantity.name}, {found!r:.40}, is no number")
    return measure.si(value)
