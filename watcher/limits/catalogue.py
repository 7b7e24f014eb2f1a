"""The catalogue of limits: each is declared here once, and whatever lists limits reads it.

Keys of the farm file and their schema, the check of what is written there, the arrays of bounds,
reasons and their names, charts, figures, records. It is data and imports nothing of the farm, so
that the farm's models can be made from it.

A limit on a quantity of the catalogue of quantities needs an entry here and no more; one that is
worked out needs its value too (``values.py``, or the module of its family).
"""

from dataclasses import dataclass
from enum import Enum, StrEnum
from typing import Literal

from watcher.i18n.message import Message, say
from watcher.units import Kind, Written

Side = Literal["low", "high"]
BOTH: tuple[Side, ...] = ("low", "high")
AT_LEAST: tuple[Side, ...] = ("low",)
AT_MOST: tuple[Side, ...] = ("high",)

_SPEED = Written(Kind.SPEED, 0, 40)
_TEMPERATURE = Written(Kind.TEMPERATURE, -40, 60)
_STEP = Written(Kind.TEMPERATURE_STEP, 0, 40)
_PERCENT = Written(Kind.PERCENT, 0, 100)
_DURATION = Written(Kind.DURATION, 0, 14 * 86_400)


class Limit(StrEnum):
    """Every limit a verdict can carry, in the trade's words."""

    INVERSION = "inversion"
    WIND = "wind"
    GUST = "gust"
    NEIGHBOUR = "neighbour downwind"
    NO_SPRAY = "no-spray distance"
    DEPOSIT = "drift onto a neighbour"
    RAIN_AFTER = "rain-free time after"
    RAIN_BEFORE = "rain-free time before"
    DELTA_T = "Delta T"
    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    SOIL_TEMPERATURE = "soil temperature"
    LEAF_DRY = "time since the leaf was wet"
    AFTER_SUNRISE = "time after sunrise"
    BEFORE_SUNSET = "time before sunset"
    DROPLETS = "droplets"
    DROPLETS_IN_WIND = "droplets for this wind"
    CONTROL = "weed control"
    CLOCK = "hours of the day"
    BEGIN = "time to begin"
    DATES = "date or stage"
    DAY_HIGH = "the day's high"
    CALM_DUTY = "duty to look for an inversion"
    RAIN_NOW = "rain"
    RAIN_AHEAD = "rain foretold"
    SOIL = "soil"
    EQUIPMENT = "equipment"
    PAPERS = "points and bulletin"


class Lift(Enum):
    """What can make a limit hold that does not."""

    WEATHER = "other weather"
    SETUP = "another setup"
    FACT = "something looked up and written down"
    PLACE = "another part of the field, or rows left"


class Check(Enum):
    """How a limit is checked."""

    BOUNDS = "a value against its bounds"
    RULE = "a rule without a distance to a bound"


class Looks(Enum):
    """Which other hours than its own a limit asks about, for as long as its bound says."""

    NOWHERE = "nowhere"
    BACK = "back"
    AHEAD = "ahead"


@dataclass(frozen=True)
class LimitEntry:
    """One limit, in everything that lists limits."""

    limit: Limit
    words: Message
    """What it is called."""
    key: str
    """Where the farm file says it: a key of a window, or that of another table."""
    description: str
    """What is limited, over what time and at what height, as the farm file's schema says it."""
    lifted_by: frozenset[Lift]
    written: Written | None = None
    """How a window writes its bounds; None for what has none there."""
    sides: tuple[Side, ...] = ()
    """The bounds that mean something; empty where a window writes none."""
    check: Check = Check.BOUNDS
    quantity: str | None = None
    """The column that is held against the bounds as it is; None where a value is worked out."""
    scale: float | None = None
    """What headroom is a share of, in SI; None: the bound."""
    scale_between: bool = False
    """Whether headroom is a share of what lies between the bounds, where there are both.

    The room that counts as near is a share of the scale: the bound's own margin or the farm's."""
    looks: Looks = Looks.NOWHERE
    kind: Kind | None = None
    """The units its value is shown in; None for what is no number."""
    name: Message | None = None
    """In a sentence with its value, where that is another word."""
    short: Message | None = None
    """In a title with its value, where that is another word."""
    too_high: Message | None = None
    """The side of a title when its high bound is broken."""
    too_low: Message | None = None
    """The same of its low bound."""
    high_word: Message | None = None
    """The side where it stands alone, without its value."""
    low_word: Message | None = None
    """The same of its low bound."""
    chart: Message | None = None
    """Title of its panel in the chart of the log; None for what hangs on the place or the setup,
    which other charts show, and for the gust, which is drawn with the wind."""


_WEATHER = frozenset({Lift.WEATHER})
_SETUP = frozenset({Lift.SETUP})
_WEATHER_OR_SETUP = _WEATHER | _SETUP
_WEATHER_OR_PLACE = frozenset({Lift.WEATHER, Lift.PLACE})

_ENTRIES = (
    LimitEntry(
        Limit.INVERSION,
        say("inversion"),
        "inversion",
        "The worst inversion finding that leaves the field open.",
        _WEATHER,
        check=Check.RULE,
        chart=say("Inversion, by hour"),
    ),
    LimitEntry(
        Limit.WIND,
        say("wind"),
        "wind",
        "Sustained wind at boom height.",
        _WEATHER,
        _SPEED,
        BOTH,
        kind=Kind.SPEED,
        chart=say("Wind and gusts at the boom"),
        too_high=say("too windy,"),
        too_low=say("too calm,"),
        high_word=say("too windy"),
        low_word=say("too calm"),
    ),
    LimitEntry(
        Limit.GUST,
        say("gust"),
        "gust",
        "Gust at boom height; a window's own wind and judging.gust_over_wind when not given.",
        _WEATHER,
        _SPEED,
        AT_MOST,
        kind=Kind.SPEED,
        too_high=say("gusts"),
        high_word=say("gusts"),
    ),
    LimitEntry(
        Limit.NEIGHBOUR,
        say("neighbour downwind"),
        "neighbours",
        "Wind allowed towards neighbours in reach.",
        _WEATHER_OR_PLACE,
        check=Check.RULE,
        short=say("neighbour"),
    ),
    LimitEntry(
        Limit.NO_SPRAY,
        say("no-spray distance"),
        "neighbours.no_spray_distance",
        "The label's downwind no-spray distance towards a neighbour.",
        _WEATHER_OR_PLACE,
    ),
    LimitEntry(
        Limit.DEPOSIT,
        say("drift onto a neighbour"),
        "neighbours.tolerable_deposit",
        "Share of the field rate that may land on a neighbour.",
        _WEATHER_OR_PLACE | _SETUP,
        short=say("drift"),
    ),
    LimitEntry(
        Limit.RAIN_AFTER,
        say("rain-free time after"),
        "rain_free_after",
        "Time without rain after the end of the job; a low bound only.",
        _WEATHER,
        _DURATION,
        AT_LEAST,
        looks=Looks.AHEAD,
        kind=Kind.DURATION,
        short=say("rain-free"),
        chart=say("Time without rain after the job"),
        too_low=say("rain in"),
        low_word=say("rain too near"),
    ),
    LimitEntry(
        Limit.RAIN_BEFORE,
        say("rain-free time before"),
        "rain_free_before",
        "Time without rain before the job starts; a low bound only.",
        _WEATHER,
        _DURATION,
        AT_LEAST,
        looks=Looks.BACK,
        kind=Kind.DURATION,
        short=say("dry for"),
        chart=say("Time since it last rained"),
        too_low=say("dry for"),
        low_word=say("rain too lately"),
    ),
    LimitEntry(
        Limit.DELTA_T,
        say("Delta T"),
        "delta_t",
        "Delta T, dry bulb less wet bulb: how fast drops dry up.",
        _WEATHER,
        _STEP,
        BOTH,
        scale_between=True,
        kind=Kind.TEMPERATURE_STEP,
        chart=say("Delta T (dry bulb less wet bulb)"),
        too_high=say("too dry, Delta T"),
        too_low=say("too humid, Delta T"),
        high_word=say("too dry"),
        low_word=say("too humid"),
    ),
    LimitEntry(
        Limit.TEMPERATURE,
        say("temperature"),
        "temperature",
        "Air temperature.",
        _WEATHER,
        _TEMPERATURE,
        BOTH,
        quantity="temp_c",
        scale=10.0,
        kind=Kind.TEMPERATURE,
        chart=say("Temperature"),
        too_high=say("too hot,"),
        too_low=say("too cold,"),
        high_word=say("too hot"),
        low_word=say("too cold"),
    ),
    LimitEntry(
        Limit.HUMIDITY,
        say("humidity"),
        "humidity",
        "Relative humidity.",
        _WEATHER,
        _PERCENT,
        BOTH,
        quantity="humidity_pct",
        scale_between=True,
        kind=Kind.PERCENT,
        chart=say("Relative humidity"),
        too_high=say("too humid,"),
        too_low=say("too dry,"),
        high_word=say("too humid"),
        low_word=say("too dry"),
    ),
    LimitEntry(
        Limit.SOIL_TEMPERATURE,
        say("soil temperature"),
        "soil_temperature_10cm",
        "Soil temperature 10 cm (4 in) deep, as its source last gave it.",
        _WEATHER,
        _TEMPERATURE,
        BOTH,
        quantity="soil_temp_10cm_c",
        scale=10.0,
        kind=Kind.TEMPERATURE,
        chart=say("Soil temperature at 10 cm"),
        too_high=say("soil too warm,"),
        too_low=say("soil too cold,"),
        high_word=say("soil too warm"),
        low_word=say("soil too cold"),
    ),
    LimitEntry(
        Limit.LEAF_DRY,
        say("time since the leaf was wet"),
        "leaf_dry_before",
        "Time since the leaf was wet, before the job starts; a low bound only. By a sensor of leaf "
        "wetness, or where the farm has none by rain and the dew to be expected.",
        _WEATHER,
        _DURATION,
        AT_LEAST,
        looks=Looks.BACK,
        kind=Kind.DURATION,
        short=say("leaf dry for"),
        chart=say("Time since the leaf was wet"),
        too_low=say("leaf dry for"),
        low_word=say("leaf too wet"),
    ),
    LimitEntry(
        Limit.AFTER_SUNRISE,
        say("time after sunrise"),
        "after_sunrise",
        "Time since sunrise; a low bound only.",
        _WEATHER,
        _DURATION,
        AT_LEAST,
        scale=3600.0,
        kind=Kind.DURATION,
        short=say("sun up for"),
        chart=say("Time since sunrise"),
        too_low=say("too early, sun up for"),
        low_word=say("too early"),
    ),
    LimitEntry(
        Limit.BEFORE_SUNSET,
        say("time before sunset"),
        "before_sunset",
        "Time left until sunset; a low bound only.",
        _WEATHER,
        _DURATION,
        AT_LEAST,
        scale=3600.0,
        kind=Kind.DURATION,
        short=say("sunset in"),
        chart=say("Time until sunset"),
        too_low=say("too late, sunset in"),
        low_word=say("too late"),
    ),
    LimitEntry(
        Limit.DROPLETS,
        say("droplets"),
        "droplets",
        "The finest droplet class allowed.",
        _SETUP,
        check=Check.RULE,
    ),
    LimitEntry(
        Limit.DROPLETS_IN_WIND,
        say("droplets for this wind"),
        "droplets_in_marginal_wind",
        "The finest droplet class allowed in the upper part of the wind's band.",
        _WEATHER_OR_SETUP,
        check=Check.RULE,
        name=say("droplets"),
        short=say("droplets"),
    ),
    LimitEntry(
        Limit.CONTROL,
        say("weed control"),
        "judging.control_loss",
        "Loss of weed control a field stands.",
        _SETUP,
        kind=Kind.PERCENT,
        name=say("loss of weed control"),
        short=say("control loss"),
    ),
    # Those below are of rules only: no window writes them.
    LimitEntry(
        Limit.CLOCK,
        say("hours of the day"),
        "rules.clock",
        "Hours of the day in which spraying is allowed: time left in them.",
        _WEATHER,
        scale=3600.0,
        kind=Kind.DURATION,
    ),
    LimitEntry(
        Limit.BEGIN,
        say("time to begin"),
        "rules.clock",
        "Hours of the day in which a job may begin: time left in them.",
        _WEATHER,
        scale=3600.0,
        kind=Kind.DURATION,
    ),
    LimitEntry(
        Limit.DATES,
        say("date or stage"),
        "rules.dates",
        "Days, stages of the crop and days after planting.",
        _WEATHER,
        check=Check.RULE,
    ),
    LimitEntry(
        Limit.DAY_HIGH,
        say("the day's high"),
        "rules.day high",
        "The highest temperature of the day, measured or foretold.",
        _WEATHER,
        scale=10.0,
        kind=Kind.TEMPERATURE,
    ),
    LimitEntry(
        Limit.CALM_DUTY,
        say("duty to look for an inversion"),
        "rules.calm duty",
        "Wind below which the operator must find that there is no inversion.",
        _WEATHER,
        check=Check.RULE,
        short=say("look for inversion"),
    ),
    LimitEntry(
        Limit.RAIN_NOW,
        say("rain"),
        "rules.rain now",
        "Rain that may fall while spraying.",
        _WEATHER,
        quantity="rain_mm_h",
        kind=Kind.RAIN_RATE,
    ),
    LimitEntry(
        Limit.RAIN_AHEAD,
        say("rain foretold"),
        "rules.rain ahead",
        "Rain foretold for some hours after the job, and its chance.",
        _WEATHER,
        looks=Looks.AHEAD,
        kind=Kind.RAIN,
    ),
    LimitEntry(
        Limit.SOIL,
        say("soil"),
        "rules.soil",
        "State of the soil, as last looked at.",
        _WEATHER,
        check=Check.RULE,
    ),
    LimitEntry(
        Limit.EQUIPMENT,
        say("equipment"),
        "rules.droplets",
        "What rules ask of droplets, boom, speed, carrier, nozzle and additives.",
        _SETUP,
        check=Check.RULE,
    ),
    LimitEntry(
        Limit.PAPERS,
        say("points and bulletin"),
        "rules.points",
        "Runoff points held, and bulletins looked up.",
        frozenset({Lift.FACT}),
        check=Check.RULE,
        short=say("points, bulletin"),
    ),
)

CATALOGUE = {entry.limit: entry for entry in _ENTRIES}
"""Every limit's entry."""

IN_WINDOWS = {entry.key: entry for entry in _ENTRIES if entry.written is not None}
"""The limits whose bounds a window writes, by key."""

WRITTEN = {entry.key: entry.written for entry in _ENTRIES if entry.written is not None}
"""How each of them writes its bounds, by key."""

LIFTED_BY_SETUP_ALONE = frozenset(
    limit for limit, entry in CATALOGUE.items() if entry.lifted_by == {Lift.SETUP}
)
"""Limits that no weather, place or paper lifts: with a setup that breaks one a field stays shut."""
