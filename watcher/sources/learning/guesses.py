"""What a name may mean, in which unit its values are, and by which clock a time is given.

What a name or the sample itself says is taken from there; what only the size of the numbers
suggests is a guess, and marked as one.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np

from watcher.i18n.message import Message, say
from watcher.sources.stations.local_times import LocalTimes, zone_of
from watcher.sources.stations.measures import COMPASS
from watcher.sources.stations.rows import number
from watcher.weather.measures import Measure, ReportedAs

_NAMES: Sequence[tuple[str, str]] = (
    ("wind_spread", r"sigma|std|stdev|spread"),
    ("gust", r"gust|gst|wg\d*|peak ?wind|wind ?(max|peak|hi)|(max|peak|hi) ?wind|racha|boe"),
    (
        "wind_from",
        r"(wind|wnd|w) ?(dir|direction|deg|degrees|from|bearing)|dir|direction|wd\d*|wdir|wdr|drct",
    ),
    ("wind", r"wind|wnd|ws\d*|wspd|wsp|(wind|wnd) ?(speed|spd|avg|mean|av)|speed|spd|viento"),
    ("dew_point", r"dew|dewpt?|dwp|dew ?point|td"),
    ("temperature", r"temp|tmp|temperature|air ?temp|t2m|ta|tair|t|temperatura"),
    ("humidity", r"hum|humidity|rh|rel ?h(um)?|humedad"),
    (
        "pressure",
        r"station ?pressure|(barom? )?abs\w*( ?(press|pressure|barom?))?|pressure|press|barom?",
    ),
    ("rain", r"rain|precip|precipitation|ppt|rain ?\w+|precip ?\w+|tips?|lluvia"),
    ("net_radiation", r"net ?rad\w*|rn"),
    ("solar", r"solar|solar ?rad\w*|ghi|srad|radiation|irradiance|pyranometer"),
    ("cloud", r"cloud|clouds|cloud ?cover|sky ?cover"),
)
"""Quantities and the words a name of them is made of, the more special ones first."""
_NOT_OURS = re.compile(
    r"\b(indoor|inside|soil|leaf|water|battery|batt|feels|heat|chill|uv|case|logger|panel|"
    r"msl|slp|sea|rel(?! ?h(um)?\b)|relative pressure|visibility|lightning|pm\d*|co2|snow|channel|"
    r"signal|rssi)\b"
)
_GLUED = re.compile(
    "(wind|gust|speed|spd|direction|dir|temp(?:erature)?|tmp|dwp|dew ?point|dewpt|dew|"
    "rain|rate|barom?|abs|rel|daily|hourly|weekly|monthly|yearly|event|total|solar|radiation|humidity|pressure)"
)
"""Words that names are glued together of: "windspeedmph", "dailyrainin"."""
_INSIDE = re.compile(r"\b(in|inf|inc)\b")
_UNITS: Sequence[tuple[str, str]] = (
    (r"km/?h|kmh|kph", "km/h"),
    (r"mph|mi/h", "mph"),
    (r"m/s|mps|ms|ms-1", "m/s"),
    (r"kt|kts|kn|knots?", "kn"),
    (r"°?f|degf|fahrenheit|deg ?f", "degF"),
    (r"°?c|degc|cel|celsius|deg ?c", "degC"),
    (r"k|kelvin", "kelvin"),
    (r"%|pct|percent|%rh", "%"),
    (r"hpa|mbar|mb|millibars?", "hPa"),
    (r"kpa", "kPa"),
    (r"pa", "Pa"),
    (r"inhg|in ?hg", "inHg"),
    (r"mm/?h|mm ?h|mmh", "mm/h"),
    (r"in/h|inh", "in/h"),
    (r"mm", "mm"),
    (r"in|inch|inches", "in"),
    (r"w/?m2|w/?m²|w/?m\^2|wm2", "W/m2"),
    (r"deg|°|degrees", "deg"),
)
_RATE = re.compile(r"\b(rate|intensity|hourly rate|mm/?h|in/h)\b")
_TOTAL = re.compile(r"\b(total|daily|day|today|year|yearly|season|week|month|event|acc|count|cum)")
_TIME_NAMES = re.compile(
    r"\b(time|date|datetime|timestamp|dateutc|ts|epoch|dt|obs ?time|fecha|hora|utc)\b|^t$|^at$"
)
_PARTS = (
    (r"\byear\b", r"\bmonth\b", r"\bday\b", r"\bhour\b", r"\bmin(ute)?s?\b"),
    (r"\byear\b", r"\bmonth\b", r"\bday\b", r"\b(hhmm|hm|hour ?min|time)\b"),
    (r"\byear\b", r"\b(doy|day of year|julian|jday|yday|day)\b", r"\b(hhmm|hm|hour ?min|time)\b"),
)
"""Words of the columns that a time may be parted into, in the order of a form."""
_FORMS = (
    "iso",
    "epoch",
    *(
        f"{date}{gap}{clock}"
        for date in (
            "%Y-%m-%d",
            "%Y/%m/%d",
            "%d.%m.%Y",
            "%d.%m.%y",
            "%m/%d/%Y",
            "%d/%m/%Y",
            "%m/%d/%y",
            "%d/%m/%y",
            "%d-%m-%Y",
            "%Y%m%d",
            "%d-%b-%Y",
            "%d %b %Y",
        )
        for gap in (" ", "T", ";")
        for clock in ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H%M", "%H%M%S")
    ),
    "%Y%m%d%H%M%S",
    "%Y%m%d%H%M",
    "%Y %j %H%M",
    "%Y %j %H:%M",
    "%Y %m %d %H %M",
    "%Y %m %d %H%M",
    "%Y %m %d %H:%M",
)
_RAIN_WHY: Mapping[ReportedAs, Message] = {
    "rate": say("a rate"),
    "amount": say(
        "what fell since the row before; for a count that only grows write reported_as in the file"
    ),
    "total": say("a count that only grows and begins anew now and then"),
}
_FAR_S = 14 * 3600
_NEAR_S = 900
_CHECKED = 60


@dataclass(frozen=True)
class Guess:
    """What a column may be. ``sure`` is false where only its numbers suggest the unit."""

    quantity: str
    unit: str | None
    reported_as: ReportedAs = "rate"
    sure: bool = True
    why: Message | None = None


@dataclass(frozen=True)
class TimeForm:
    """How times are written: the columns, the form, the zone, and what is only guessed of it."""

    columns: tuple[str, ...]
    form: str
    zone: str | None
    doubts: tuple[Message, ...] = ()


def words_of(name: str) -> str:
    """Return a name in lower-case words: "outTemp_F" is "out temp f"."""
    apart = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", name.replace('"', "")).lower()
    whole = " ".join(re.split(r"[^a-z0-9%°/²^]+", apart))
    return " ".join(_GLUED.sub(r" \1 ", whole).split())


def quantity_of(name: str, values: Sequence[object], said: str | None) -> Guess | None:
    """Return what a column may be; None where its name tells nothing, or that it is none of ours.

    ``said`` is the unit that the sample itself tells of it.
    """
    words = words_of(name)
    if _NOT_OURS.search(words):
        return None
    found = _unit_said(words, said)
    bare = " ".join(w for w in words.split() if _unit_of(w) is None or w in {"in", "t"}) or words
    bare = re.sub(
        r"\b(out|outdoor|outside|avg|average|mean|10m|2m|2min|10min|current|air)\b", "", bare
    )
    bare = " ".join(bare.split()) or words
    # "wind deg" is a name; of "wind mph" the name is what stands before the unit.
    quantity = _named(words) or _named(bare)
    if quantity is None:
        quantity = next((q for q, form in _NAMES if re.search(rf"\b({form})\b", bare)), None)
    if quantity == "wind" and found == "deg":
        quantity = "wind_from"
    numbers = _numbers(values)
    indoors = quantity in {"temperature", "humidity", "dew_point"} and _INSIDE.search(words)
    if quantity is None or indoors or not (numbers.size or quantity == "wind_from"):
        return None
    if quantity == "rain":
        return _rain(words, found, numbers)
    if found is not None and _fits(quantity, found):
        return Guess(quantity, found)
    if quantity in {"wind_from", "wind_spread"}:
        texts = any(isinstance(v, str) and v.strip().upper() in COMPASS for v in values)
        return Guess(quantity, "deg", why=say("compass words") if texts else say("degrees"))
    return _by_size(quantity, numbers)


def _named(words: str) -> str | None:
    return next((quantity for quantity, form in _NAMES if re.fullmatch(form, words)), None)


def _rain(words: str, unit: str | None, numbers: np.ndarray) -> Guess:
    reported_as: ReportedAs = "amount"
    grows = numbers.size > 2 and np.all(np.diff(numbers) >= 0) and numbers[-1] > numbers[0]
    by_name = bool(_RATE.search(words) or _TOTAL.search(words) or unit in {"mm/h", "in/h"})
    if unit in {"mm/h", "in/h"} or _RATE.search(words):
        reported_as = "rate"
    elif _TOTAL.search(words) or grows:
        reported_as = "total"
    default = "mm/h" if reported_as == "rate" else "mm"
    if reported_as == "rate" and unit in {"mm", "in"}:
        unit = f"{unit}/h"
    fits = unit is not None and _fits("rain", unit, reported_as)
    sure = fits and by_name
    return Guess(
        "rain", unit if fits else default, reported_as, sure=sure, why=_RAIN_WHY[reported_as]
    )


def _by_size(quantity: str, numbers: np.ndarray) -> Guess:
    """Guess the unit by the size of the numbers; none for a wind, whose units look alike."""
    middle, highest = float(np.median(numbers)), float(np.max(numbers))
    unit: str | None = None
    match quantity:
        case "temperature" | "dew_point":
            unit = "kelvin" if middle > 200 else "degF" if highest > 45 else "degC"
        case "humidity":
            unit = "dimensionless" if highest <= 1.0 else "%"
        case "pressure":
            sizes = ((5e4, "Pa"), (500, "hPa"), (50, "kPa"), (20, "inHg"))
            unit = next((u for least, u in sizes if middle > least), "bar")
        case "solar" | "net_radiation":
            unit = "W/m2"
        case "cloud":
            unit = "dimensionless" if highest <= 1.0 else "%"
    sure = quantity in {"solar", "net_radiation"} or (quantity == "humidity" and highest > 1.0)
    by_size, unclear = say("by the size of its numbers"), say("a speed's numbers tell no unit")
    why = by_size if unit else unclear
    return Guess(quantity, unit, sure=sure, why=why)


def _unit_said(words: str, said: str | None) -> str | None:
    unit = _unit_of(said.lower().strip("()[] ")) if said else None
    if unit is not None:
        return unit
    for count in (2, 1):
        tail = " ".join(words.split()[-count:])
        if len(words.split()) > count and (unit := _unit_of(tail)):
            return unit
    return None


def _unit_of(text: str) -> str | None:
    return next((unit for form, unit in _UNITS if re.fullmatch(form, text)), None)


def _fits(quantity: str, unit: str, reported_as: ReportedAs = "rate") -> bool:
    try:
        Measure.of(quantity, unit, reported_as)
    except ValueError:
        return False
    return True


def _numbers(values: Sequence[object]) -> np.ndarray:
    found = [number(v.strip().replace(",", ".")) if isinstance(v, str) else v for v in values]
    return np.array([v for v in found if isinstance(v, int | float) and abs(v) < 9999], np.float64)


def clock_of(
    columns: Mapping[str, Sequence[object]], *, made_at: int, farm_zone: str
) -> TimeForm | None:
    """Return how the times are given; None where nothing is a time.

    ``made_at`` is when the sample was made or came, in epoch seconds: from that the zone is known.
    """
    for names in _candidates(columns):
        texts = [
            " ".join(_text(v) for v in row)
            for row in zip(*(columns[n] for n in names), strict=True)
        ]
        texts = [text for text in texts if text.strip()][-_CHECKED:]
        fitting = [form for form in _FORMS if texts and _reads(form, texts)]
        if fitting:
            return _clock(names, fitting, texts, made_at, farm_zone)
    return None


def _candidates(columns: Mapping[str, Sequence[object]]) -> Iterator[tuple[str, ...]]:
    words = {name: words_of(name) for name in columns}
    for forms in _PARTS:
        parts = [next((n for n, w in words.items() if re.search(f, w)), None) for f in forms]
        if all(parts):
            yield tuple(name for name in parts if name)
    times = [name for name, said in words.items() if _TIME_NAMES.search(said)]
    dates = [name for name in times if re.search(r"date|fecha", words[name])]
    clocks = [name for name in times if re.search(r"time|hora", words[name]) and name not in dates]
    yield from ((name,) for name in times if name not in clocks)
    yield from ((date, clock) for date in dates for clock in clocks)
    yield from ((name,) for name in clocks)
    if columns:
        yield (next(iter(columns)),)


def _text(value: object) -> str:
    return value if isinstance(value, str) else "" if value is None else f"{value:.17g}"


def _reads(form: str, texts: Sequence[str]) -> bool:
    times = LocalTimes(form, UTC)
    for text in texts:
        try:
            times.epoch(times.read(text), None)
        except (ValueError, OverflowError, OSError):
            return False
    return True


def _clock(
    names: tuple[str, ...], forms: Sequence[str], texts: Sequence[str], made_at: int, zone: str
) -> TimeForm:
    newest = {form: _newest(form, texts, UTC) for form in forms}
    form = min(forms, key=lambda f: (abs(made_at - newest[f]) > 2 * 86_400, forms.index(f)))
    doubts: list[Message] = []
    others = [f for f in forms if newest[f] != newest[form]]
    if others and abs(made_at - newest[form]) > 2 * 86_400:
        doubts.append(say("its dates may also be of the form {form}", form=others[0]))
    if LocalTimes(form, UTC).read(texts[-1]).tzinfo is not None:
        return TimeForm(names, form, None, tuple(doubts))
    if any(re.search("utc|gmt", words_of(name)) for name in names):
        return TimeForm(names, form, "UTC", tuple(doubts))
    ahead_s = newest[form] - made_at
    local_s = _newest(form, texts, zone_of(zone)) - made_at
    if abs(local_s) <= _NEAR_S:
        return TimeForm(names, form, zone, tuple(doubts))
    if not -12 * 3600 <= ahead_s <= _FAR_S:
        doubts.append(
            say("its newest row is too old to tell the zone; {zone} is the farm's", zone=zone)
        )
        return TimeForm(names, form, zone, tuple(doubts))
    if abs(ahead_s) <= _NEAR_S:
        return TimeForm(names, form, "UTC", tuple(doubts))
    quarters = round(ahead_s / 900)
    hours, minutes = divmod(abs(quarters) * 15, 60)
    offset = f"{'-' if quarters < 0 else '+'}{hours:02}:{minutes:02}"
    doubts.append(
        say("its clock is {offset} from UTC now, by when the newest row was written", offset=offset)
    )
    return TimeForm(names, form, offset, tuple(doubts))


def _newest(form: str, texts: Sequence[str], zone: tzinfo) -> int:
    times = LocalTimes(form, zone)
    found = []
    for text in (texts[0], texts[-1]):
        try:
            found.append(times.epoch(times.read(text), None))
        except ValueError:  # an hour that the clock never showed
            continue
    return max(found, default=int((datetime.fromtimestamp(0, UTC) + timedelta()).timestamp()))
