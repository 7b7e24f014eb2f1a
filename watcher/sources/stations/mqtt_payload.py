"""What a message of a station holds: SenML, the JSON that stations post, or any JSON, mapped.

A message may be old when it comes: a broker hands out what it retained, and what it kept while this
side was away. Such a message counts only by a time of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from aiomqtt import Topic

from watcher.sources import json_text
from watcher.sources.stations import readings, senml, senml_packs
from watcher.sources.stations.local_times import LocalTimes
from watcher.sources.stations.measures import of_json
from watcher.sources.stations.post_mapping import Key, PostMapping, read_time
from watcher.sources.stations.rows import Rows, believed, shifted
from watcher.weather.measures import Measure, ReportedAs


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
class PostedPayload:
    """Messages that hold a body as stations post it. ``clock_ahead_s`` is the station's clock."""

    topics: Sequence[str]
    content_type: str
    clock_ahead_s: float = 0.0
    mapping: PostMapping | None = None
    """What names mean that are not ours; its own clock is then not used."""

    def rows(self, payload: Payload, now: int) -> Rows:
        """Return the rows of a message; raises ``ValueError`` for one that cannot be read."""
        taken = readings.taken_of(payload.body, self.content_type, now=now, mapping=self.mapping)
        if self.content_type in senml_packs.READERS and _undated(payload.body, self.content_type):
            return {} if payload.kept else taken.rows
        return shifted(taken.rows, self.clock_ahead_s)


def _undated(body: bytes, content_type: str) -> bool:
    """Whether a record of a SenML pack is dated from the moment it is read (RFC 8428, 4.5.3)."""
    records = senml.resolve(senml_packs.READERS[content_type](body), now=0)
    return any(record.time < senml.RELATIVE_BELOW for record in records)


@dataclass(frozen=True)
class MappedValue:
    """A quantity of mapped messages: the topics it comes on, where it stands, and its unit."""

    topic: str
    at: Key
    measure: Measure

    @classmethod
    def of(
        cls, name: str, *, topic: str, at: str, unit: str | None, reported_as: ReportedAs = "rate"
    ) -> "MappedValue":
        """Build it from what the farm file gives; ``ValueError`` names what cannot be."""
        return cls(topic, Key.of(f"quantities.{name}.at", at), Measure.of(name, unit, reported_as))


@dataclass(frozen=True)
class Mapped:
    """Messages of any JSON. Without ``time`` one is of the moment it comes."""

    values: Sequence[MappedValue]
    time: Key | None = None
    clock_ahead_s: float = 0.0
    times: LocalTimes | None = None
    """How the time is written; None for ISO 8601 with an offset, or a number since 1970."""

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
        body = json_text.loads(payload.body)
        row: dict[str, float] = {}
        holds_any = False
        for value in self.values:
            if Topic(payload.topic).matches(value.topic):
                found = value.at.find(body)
                if found is not None:
                    holds_any = True
                    row |= _measured(value.measure, found)
        if not holds_any:
            raise ValueError("it holds none of the quantities mapped")
        if self.time is None:
            return {now: row}
        time = believed("its time", read_time(self.time.find(body), self.times, None), now)
        return shifted({time: row}, self.clock_ahead_s)


def _measured(measure: Measure, found: object) -> dict[str, float]:
    try:
        value = of_json(measure, found)
    except ValueError as error:
        raise ValueError(f"its {measure.quantity.name}, {found!r:.40}: {error}") from error
    return {} if value is None else {measure.column: value}
