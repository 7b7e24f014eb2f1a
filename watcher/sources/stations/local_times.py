"""Times as a station writes them, in its own form and by its own clock, as epoch seconds."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

from watcher.sources.feeds.body import moment
from watcher.sources.stations.rows import number

_OFFSET = re.compile(r"([+-])(\d\d):(\d\d)")
_LEAST_ROWS_FOR_ORDER = 3
_DAY = timedelta(days=1)
_DIRECTIVE = re.compile("%([A-Za-z%])")
_DIGITS = {"Y": 4, "y": 2, "m": 2, "d": 2, "j": 3, "H": 2, "I": 2, "M": 2, "S": 2}
"""How many digits each directive has when all of them are written."""
_TEXTS = {
    "p": r"[AaPp]\.?(?:[Mm]\.?)?",
    "b": r"[^\W\d_]+\.?",
    "B": r"[^\W\d_]+",
    "a": r"[^\W\d_]+\.?",
    "A": r"[^\W\d_]+",
    "f": r"\d{1,6}",
    "z": r"[+-]\d\d:?\d\d|Z",
    "%": "%",
}
_ISO_MIDNIGHT = re.compile(r"(.*[T ])24(:00(?::00(?:\.0*)?)?|00(?:00)?)(\D.*)?")
DIRECTIVES = frozenset(_DIGITS) | frozenset(_TEXTS)
"""The directives of a form that are read."""


def zone_of(text: str) -> tzinfo:
    """Return a zone by its IANA name, or of an offset that never changes ("-06:00")."""
    match = _OFFSET.fullmatch(text)
    if match is None:
        return ZoneInfo(text)
    ahead = timedelta(hours=int(match[2]), minutes=int(match[3]))
    return timezone(-ahead if match[1] == "-" else ahead)


class LocalTimes:
    """Reads times: ``form`` is "iso", "epoch" (seconds or thousandths), or directives as of
    ``strptime``.

    Beyond ``strptime``: numbers written one right after the other may lack the zeros in front
    ("930" of "%H%M" is half past nine, "5" five past midnight), 24:00 ends its day, and "am" or
    "pm" counts beside %H too. Without a zone a time that tells none is refused.
    """

    def __init__(self, form: str, zone: tzinfo | None) -> None:
        self._form = form
        self._zone = zone

    def read(self, text: str) -> datetime:
        """Return a time as written, aware only if it tells its zone; ``ValueError``."""
        if self._form == "epoch":
            seconds = number(text)
            return datetime.fromtimestamp(moment(seconds), UTC)
        if self._form == "iso":
            if len(text) <= len("2026-06-12"):
                raise ValueError(f"{text!r} has no time of day")
            midnight = _ISO_MIDNIGHT.fullmatch(text)
            if midnight is None:
                return datetime.fromisoformat(text)
            start = f"{midnight[1]}00{midnight[2]}{midnight[3] or ''}"
            return datetime.fromisoformat(start) + _DAY
        return self._written.read(text)

    @cached_property
    def _written(self) -> "_Written":
        return _Written(self._form)

    def epoch(self, time: datetime, last: int | None) -> int:
        """Return epoch seconds; of an hour that the clock showed twice the one after ``last``.

        Without ``last``, and where both would be, the earlier: rather too old than too new. A time
        that the clock never showed is a ``ValueError``: such a clock does not change with the zone.
        """
        if time.tzinfo is not None:
            return int(time.timestamp())
        if self._zone is None:
            raise ValueError(f"{time} has no time zone, and none is given")
        first, second = (
            int(time.replace(tzinfo=self._zone, fold=fold).timestamp()) for fold in (0, 1)
        )
        if datetime.fromtimestamp(first, self._zone).replace(tzinfo=None, fold=0) != time.replace(
            microsecond=0
        ):
            raise ValueError(
                f"{time} was skipped when the clock went forward; if the station's clock does not "
                'change, give its zone as an offset, such as "-06:00"'
            )
        return second if last is not None and first < last and second != first else first


class _Written:
    """A form of directives: every text of it is made whole, then ``strptime`` reads it."""

    def __init__(self, form: str) -> None:
        self._form = form
        self._parts: list[str] = []
        """What each group of the pattern holds: several letters where numbers follow each other."""
        self._pattern = re.compile(self._pattern_of(form))

    def _pattern_of(self, form: str) -> str:
        pattern, literal_from = "", 0
        pieces: list[tuple[str, str]] = []  # literal before, directive
        for match in _DIRECTIVE.finditer(form):
            if match[1] not in DIRECTIVES:
                raise ValueError(f"{form!r} has %{match[1]}, which is not read")
            pieces.append((form[literal_from : match.start()], match[1]))
            literal_from = match.end()
        for literal, letter in pieces:
            after_number = bool(self._parts) and self._parts[-1][-1] in _DIGITS and literal == ""
            if letter in _DIGITS and after_number:
                self._parts[-1] += letter
                continue
            pattern += _literal(literal) + f"(@{len(self._parts)})"
            self._parts.append(letter)
        for index, letters in enumerate(self._parts):
            if letters[0] in _DIGITS:
                own = rf"\d{{1,{sum(_DIGITS[letter] for letter in letters)}}}"
            else:
                own = _TEXTS[letters]
            pattern = pattern.replace(f"(@{index})", f"({own})", 1)
        return pattern + _literal(form[literal_from:])

    def read(self, text: str) -> datetime:
        match = self._pattern.fullmatch(" ".join(text.split()))
        if match is None:
            raise ValueError(f"{text[:40]!a} is not of the form {self._form!a}")
        found: dict[str, str] = {}
        for letters, written in zip(self._parts, match.groups(), strict=True):
            if letters[0] not in _DIGITS:
                found[letters] = written
                continue
            digits = written.zfill(sum(_DIGITS[letter] for letter in letters))
            for letter in letters:
                found[letter], digits = digits[: _DIGITS[letter]], digits[_DIGITS[letter] :]
        if "p" in found:
            found["p"] = f"{found['p'][0].upper()}M"
            if "H" in found and 1 <= int(found["H"]) <= 12:
                found["I"] = found.pop("H")
            elif "H" in found:
                del found["p"]
        if "b" in found:
            found["b"] = found["b"].rstrip(".")
        later = timedelta()
        if found.get("H") == "24":
            if int(found.get("M", "0")) or int(found.get("S", "0")):
                raise ValueError(f"{text[:40]!a} is after the end of its day")
            found["H"], later = "00", _DAY
        whole = " ".join(found.values())
        form = " ".join(f"%{letter}" for letter in found)
        return datetime.strptime(whole, form) + later  # noqa: DTZ007 - the zone is the caller's


def _literal(text: str) -> str:
    """Return the pattern of what stands between directives: as written, any number of spaces."""
    return re.sub(r"\s+", r"\\s+", re.escape(text).replace("\\ ", " "))


def newest_first(times: Sequence[datetime]) -> bool:
    """Whether times run backwards, as in files that are written newest first.

    Two alone do not tell: a clock set back in autumn looks the same.
    """
    bare = [time.replace(tzinfo=None) for time in times]
    back = sum(later < earlier for earlier, later in pairwise(bare))
    return len(bare) >= _LEAST_ROWS_FOR_ORDER and 2 * back > len(bare) - 1
