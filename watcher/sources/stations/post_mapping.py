"""What a station's own names mean: which key holds which quantity, in what unit, and its clock.

A key goes by its name as it is sent; where no key has that name it is read as a JMESPath
expression (https://jmespath.org), for what lies deeper.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from watcher.sources.feeds.body import compiled, moment
from watcher.sources.json_text import finite
from watcher.sources.stations.bad_reading import BadReadingError
from watcher.sources.stations.local_times import LocalTimes, zone_of
from watcher.sources.stations.measures import of_json
from watcher.sources.stations.rows import Rows, believed, number, shifted
from watcher.weather.measures import Measure

if TYPE_CHECKING:
    from jmespath.parser import ParsedResult

PLAIN_NAME = re.compile(r"[\w .:/%°()-]+")
"""What may be a name as it is sent, even where it is no expression."""
ARRIVAL = "arrival"
"""In place of a key: a reading is of the moment it comes."""


@dataclass(frozen=True)
class Key:
    """Where something stands in a reading: a name as it is sent, or a JMESPath expression."""

    name: str
    path: "ParsedResult | None"

    @classmethod
    def of(cls, setting: str, name: str) -> "Key":
        """Return the key; a name that is no expression, "wind-avg", is a name all the same.

        ``ValueError`` for what is neither.
        """
        try:
            return cls(name, compiled(setting, name))
        except ValueError:
            if PLAIN_NAME.fullmatch(name):
                return cls(name, None)
            raise

    def find(self, reading: object) -> Any:
        """Return what stands there, None for nothing."""
        if isinstance(reading, Mapping) and self.name in reading:
            return reading[self.name]
        return None if self.path is None else self.path.search(reading)


@dataclass(frozen=True)
class PostMapping:
    """How a station's posts are read. Names of quantities it does not map are read as ever."""

    quantities: Sequence[tuple[Key, Measure]]
    time: Key | None = None
    """None for "time"; ``ARRIVAL`` for the moment a reading comes."""
    times: LocalTimes | None = None
    """None for ISO 8601 with an offset, or a number since 1970."""
    readings: Key | None = None
    """Where a body holds its readings; None for the body itself."""
    missing: Sequence[str] = ()
    clock_ahead_s: float = 0.0

    @classmethod
    def of(
        cls,
        quantities: Mapping[str, tuple[str, Measure]],
        *,
        time: str | None = None,
        form: str | None = None,
        zone: str | None = None,
        readings: str | None = None,
        missing: Sequence[str] = (),
        clock_ahead_s: float = 0.0,
    ) -> "PostMapping":
        """Build it from what the farm file says; ``ValueError`` names what cannot be."""
        return cls(
            tuple(
                (Key.of(f"quantities.{name}.at", at), measure)
                for name, (at, measure) in quantities.items()
            ),
            None if time is None else Key.of("time", time),
            times_of(form, zone),
            None if readings is None else Key.of("readings", readings),
            tuple(missing),
            clock_ahead_s,
        )

    @property
    def dated(self) -> bool:
        """Whether readings tell their time themselves."""
        return self.time is None or self.time.name != ARRIVAL

    def by_name(self, name: str) -> Measure | None:
        """Return what a name means, None where it is not mapped."""
        return next((measure for key, measure in self.quantities if key.name == name), None)

    def readings_of(self, body: object) -> list[object]:
        """Return the readings a body holds; ``BadReadingError``."""
        found = body if self.readings is None else self.readings.find(body)
        if found is None:
            name = "the body" if self.readings is None else f"{self.readings.name!a}"
            raise BadReadingError(name, "is not there", "correct readings in the farm file")
        return found if isinstance(found, list) else [found]

    def rows(self, readings: Sequence[object], now: int) -> tuple[Rows, set[str]]:
        """Return the rows of readings, and the keys that are not read; ``BadReadingError``."""
        rows: Rows = {}
        ignored: set[str] = set()
        last = None
        for index, reading in enumerate(readings):
            where = f"reading {index}, " if len(readings) > 1 else ""
            time = self._time(where, reading, now, last)
            last = time
            row = rows.setdefault(time, {})
            row |= dict(self._values(where, reading))
            if isinstance(reading, Mapping):
                ignored |= self._unread(reading)
        return shifted(rows, self.clock_ahead_s), ignored

    def _time(self, where: str, reading: object, now: int, last: int | None) -> int:
        if not self.dated:
            return now
        key = self.time or Key("time", None)
        found = key.find(reading)
        named = f"{where}{key.name[:60]!a}"
        if found is None:
            mend = f'correct time in the farm file; "{ARRIVAL}" is for a station that tells none'
            raise BadReadingError(named, "is missing, and holds the time", mend)
        try:
            sent_at = read_time(found, self.times, last)
        except (ValueError, OverflowError, OSError) as error:
            mend = "correct time, time_format and time_zone in the farm file"
            raise BadReadingError(named, f"{found!r:.40}: {error}", mend) from error
        return believed(named, sent_at, now)

    def _values(self, where: str, reading: object) -> Iterator[tuple[str, float]]:
        for key, measure in self.quantities:
            found = key.find(reading)
            if found is None or self._is_missing(found):
                continue
            try:
                value = of_json(measure, found)
            except ValueError as error:
                mend = f"correct quantities.{measure.quantity.name} in the farm file"
                raise BadReadingError(f"{where}{key.name[:60]!a}", str(error), mend) from error
            if value is not None:
                yield measure.column, value

    def _is_missing(self, found: object) -> bool:
        text = found.strip() if isinstance(found, str) else f"{found!r:.40}"
        if text.casefold() in {word.casefold() for word in self.missing}:
            return True
        own = number(text)
        return own is not None and own in {number(word) for word in self.missing}

    def _unread(self, reading: Mapping[str, object]) -> set[str]:
        read = {key.name for key, _ in self.quantities if key.name in reading}
        read |= {key.name.partition(".")[0].partition("[")[0] for key, _ in self.quantities}
        read.add((self.time.name if self.time else "time").partition(".")[0])
        return set(reading) - read


def times_of(form: str | None, zone: str | None) -> LocalTimes | None:
    """Return how times are read, None where neither form nor zone is given."""
    if form is None and zone is None:
        return None
    return LocalTimes(form or "iso", None if zone is None else zone_of(zone))


def read_time(found: object, times: LocalTimes | None, last: int | None) -> int:
    """Return epoch seconds of a time as it was sent, by a form or without; ``ValueError``.

    Without a form it is ISO 8601 with an offset, or a number since 1970, as a text too. ``last`` is
    the time before it.
    """
    if times is None:
        bare = number(found.strip()) if isinstance(found, str) else None
        return moment(found if bare is None else bare)
    own = finite(found)
    text = f"{found}" if own is None else f"{own:.17g}"
    return times.epoch(times.read(text.strip()), last)
