"""Every limit as a sentence, checked by hand: 1 mph = 0.44704 m/s, 1 K = 1.8 F, 1 m = 3.2808 ft."""

import math
from dataclasses import replace

import pytest

from tests.support.english import english
from tests.support.farms import build, tables
from watcher.farm.models import DropletClass, Origin
from watcher.farm.rules.buffers import Arithmetic, Buffer
from watcher.farm.rules.mix import BufferOf
from watcher.judge.neighbour_deposits import NeighbourDeposit
from watcher.judge.reasons import Reason
from watcher.limits.buffers import LeftStrip
from watcher.limits.catalogue import Limit
from watcher.limits.check import Knowledge
from watcher.limits.status import LimitState
from watcher.messages.reasons import Speaker
from watcher.weather.inversion import Finding

MPH = 0.44704
INF, NAN = math.inf, math.nan
HOLDS, NEAR, BROKEN, UNKNOWN = (
    LimitState.HOLDS,
    LimitState.NEAR,
    LimitState.BROKEN,
    LimitState.UNKNOWN,
)
LABEL, OWN, LAW = Origin.LABEL, Origin.OWN, Origin.LAW


EXPOSED = NeighbourDeposit(
    "orchard",
    side="N",
    gap_m=10.0,
    edge_pct=0.7,
    strip_pct=0.5,
    upper_pct=2.1,
    tolerance_pct=1.0,
    extrapolated=False,
    origin=OWN,
)


STRIP = LeftStrip(
    "orchard",
    required_m=20.0,
    gap_m=10.0,
    depth_m=10.0,
    passes=1,
    area_m2=4047.0,
    of=BufferOf("neighbour orchard", Buffer(protects=("orchard",), base="20 m")),
    how=Arithmetic(20.0, (), 20.0),
    gap_counted_m=10.0,
)


def reason(
    limit,
    stand,
    value,
    low=-INF,
    high=INF,
    origin=OWN,
    neighbours=(),
    neighbour_deposits=(),
    strips=(),
):
    return Reason(
        limit, stand, value, low, high, origin, 0.5, neighbours, neighbour_deposits, strips=strips
    )


US = [
    (
        reason(Limit.WIND, NEAR, 9 * MPH, 3 * MPH, 10 * MPH, LABEL),
        "wind 9 mph, at most 10 mph (label), 1 mph to spare",
    ),
    (
        reason(Limit.WIND, BROKEN, 12 * MPH, 3 * MPH, 10 * MPH, LABEL),
        "wind 12 mph, at most 10 mph (label): 2 mph over",
    ),
    (
        reason(Limit.WIND, BROKEN, 1 * MPH, 3 * MPH, 10 * MPH, OWN),
        "wind 1 mph, at least 3 mph (own): 2 mph short",
    ),
    # One decimal more where it tells the value from its limit; where even that does not, words.
    (
        reason(Limit.WIND, BROKEN, 10.2 * MPH, 3 * MPH, 10 * MPH, LABEL),
        "wind 10.2 mph, at most 10 mph (label): 0.2 mph over",
    ),
    (
        reason(Limit.WIND, BROKEN, 10.04 * MPH, 3 * MPH, 10 * MPH, LABEL),
        "wind just over 10 mph, at most 10 mph (label)",
    ),
    (reason(Limit.WIND, UNKNOWN, NAN, 3 * MPH, 10 * MPH), "wind unknown: no value to rely on"),
    (reason(Limit.WIND, HOLDS, 5 * MPH), "wind 5 mph, no bound"),
    (reason(Limit.DELTA_T, HOLDS, NAN), "Delta T not measured, no bound"),
    (
        reason(Limit.GUST, BROKEN, 17 * MPH, high=15 * MPH),
        "gust 17 mph, at most 15 mph (own): 2 mph over",
    ),
    # A difference of 6 K is one of 10.8 F: no 32 is added. 34 C is 93.2 F.
    (
        reason(Limit.DELTA_T, HOLDS, 6.0, 2.0, 8.0, OWN),
        "Delta T 10.8 °F, at most 14.4 °F (own), 3.6 °F to spare",
    ),
    (
        reason(Limit.TEMPERATURE, BROKEN, 34.0, 10.0, 32.0, LABEL),
        "temperature 93 °F, at most 89.6 °F (label): 4 °F over",
    ),
    (
        reason(Limit.HUMIDITY, NEAR, 38.0, 35.0, INF, LAW),
        "humidity 38%, at least 35% (law), 3% to spare",
    ),
    (
        reason(Limit.RAIN_AFTER, BROKEN, 2 * 3600.0, 4 * 3600.0, INF, LABEL),
        "rain-free time after 2.0 h, at least 4.0 h (label): 2.0 h short",
    ),
    # 9 C is 48.2 F, 10 C is 50 F.
    (
        reason(Limit.SOIL_TEMPERATURE, BROKEN, 9.0, 10.0, INF, LABEL),
        "soil temperature 48 °F, at least 50 °F (label): 2 °F short",
    ),
    (
        reason(Limit.SOIL_TEMPERATURE, UNKNOWN, NAN, 10.0, INF, LABEL),
        "soil temperature unknown: no value to rely on",
    ),
    (
        reason(Limit.LEAF_DRY, BROKEN, 1.5 * 3600.0, 2 * 3600.0, INF, OWN),
        "time since the leaf was wet 1.5 h, at least 2.0 h (own): 0.5 h short",
    ),
    (
        reason(Limit.AFTER_SUNRISE, BROKEN, 900.0, 1800.0, INF, OWN),
        "time after sunrise 0.2 h, at least 0.5 h (own): 0.2 h short",
    ),
    (
        reason(Limit.AFTER_SUNRISE, BROKEN, -9 * 3600.0, 1800.0, INF, OWN),
        "sunrise in 9.0 h: not until 0.5 h after it (own)",
    ),
    (
        reason(Limit.BEFORE_SUNSET, BROKEN, -3600.0, 7200.0, INF, LABEL),
        "sunset 1.0 h ago: not later than 2.0 h before it (label)",
    ),
    (reason(Limit.BEFORE_SUNSET, HOLDS, -3600.0), "time before sunset -1.0 h, no bound"),
    (
        reason(Limit.CONTROL, BROKEN, 18.0, -INF, 12.0, OWN),
        "loss of weed control 18%, at most 12% (own): 6% over",
    ),
    (reason(Limit.INVERSION, HOLDS, Finding.NONE), "no sign of an inversion"),
    (
        reason(Limit.INVERSION, NEAR, Finding.POSSIBLE, origin=OWN),
        "inversion possible: coarse drops only (own)",
    ),
    (reason(Limit.INVERSION, BROKEN, Finding.POSSIBLE, origin=LABEL), "inversion possible (label)"),
    (reason(Limit.INVERSION, BROKEN, Finding.LIKELY, origin=LABEL), "inversion likely (label)"),
    (reason(Limit.INVERSION, BROKEN, Finding.MEASURED, origin=LABEL), "inversion measured (label)"),
    (
        reason(Limit.INVERSION, UNKNOWN, Finding.UNKNOWN),
        "inversion unknown: no value to rely on",
    ),
    (
        reason(Limit.DROPLETS, BROKEN, DropletClass.FINE, origin=LABEL),
        "droplets fine: too fine for this window (label)",
    ),
    (
        reason(Limit.DROPLETS_IN_WIND, BROKEN, DropletClass.MEDIUM),
        "droplets medium: too fine for this wind (own)",
    ),
    (
        reason(Limit.DROPLETS, HOLDS, DropletClass.VERY_COARSE),
        "droplets very coarse: coarse enough for this window",
    ),
    # The orchard lies 10 m, 33 ft, north of the field.
    (
        reason(Limit.NEIGHBOUR, BROKEN, 10.0, neighbours=("orchard",)),
        "orchard downwind to the N, 33 ft: this wind may not go there (own)",
    ),
    (
        reason(Limit.NEIGHBOUR, NEAR, 10.0, neighbours=("orchard",), origin=LABEL),
        "orchard downwind to the N, 33 ft: only calm wind may go there (label)",
    ),
    (
        reason(Limit.NEIGHBOUR, BROKEN, INF),
        "a very susceptible neighbour in reach: calm wind only (own)",
    ),
    (
        reason(Limit.NEIGHBOUR, HOLDS, INF),
        "no neighbour downwind that this wind is kept from",
    ),
    (
        reason(Limit.DEPOSIT, BROKEN, 2.1, high=1.0, neighbour_deposits=(EXPOSED,)),
        "drift onto orchard to the N, 33 ft: up to 2.1% of the rate, it stands 1% (own)",
    ),
    (reason(Limit.DEPOSIT, HOLDS, 0.0, high=1.0), "no neighbour that drift would harm"),
    (reason(Limit.NEIGHBOUR, UNKNOWN, NAN), "neighbour downwind unknown: no value to rely on"),
    (
        reason(Limit.NO_SPRAY, NEAR, 10.0, strips=(STRIP,)),
        "orchard downwind to the N, 33 ft: no-spray distance 66 ft (label); "
        "leave 33 ft unsprayed on the N side: 1 pass, 1.00 acre",
    ),
    (
        reason(Limit.NO_SPRAY, BROKEN, 10.0, strips=(STRIP,)),
        "orchard downwind to the N, 33 ft: no-spray distance 66 ft leaves nothing of the field "
        "(label)",
    ),
    (
        reason(Limit.NO_SPRAY, BROKEN, INF, strips=(replace(STRIP, depth_m=INF),)),
        "orchard downwind to the N, 33 ft: nothing may be sprayed beside it with this setup "
        "(neighbour orchard)",
    ),
    (
        reason(Limit.NO_SPRAY, HOLDS, INF, 1.0, INF, LABEL),
        "no neighbour downwind within its no-spray distance",
    ),
]


def _speaker(units: str) -> Speaker:
    config = tables()
    config["farm"]["units"] = units
    config["neighbours"]["orchard"]["no_spray_distance"] = "20 m"
    return Speaker(build(config))


@pytest.mark.parametrize(("found", "said"), US, ids=[said[:40] for _, said in US])
def test_a_reason_in_us_units(found, said):
    assert english(_speaker("us").reason("creek_side", found)) == said


METRIC = [
    (
        reason(Limit.WIND, NEAR, 4.0, 1.0, 5.0, LABEL),
        "wind 14 km/h, at most 18 km/h (label), 4 km/h to spare",
    ),
    (
        reason(Limit.DELTA_T, BROKEN, 9.5, 2.0, 8.0, OWN),
        "Delta T 9.5 °C, at most 8.0 °C (own): 1.5 °C over",
    ),
    (
        reason(Limit.NEIGHBOUR, BROKEN, 10.0, neighbours=("orchard",)),
        "orchard downwind to the N, 10 m: this wind may not go there (own)",
    ),
]


@pytest.mark.parametrize(("found", "said"), METRIC, ids=[said[:40] for _, said in METRIC])
def test_a_reason_in_metric_units(found, said):
    assert english(_speaker("metric").reason("creek_side", found)) == said


SHORT = [
    (US[1][0], "wind 12 mph"),
    (reason(Limit.WIND, UNKNOWN, NAN), "wind unknown"),
    (reason(Limit.NEIGHBOUR, BROKEN, 10.0, neighbours=("orchard",)), "orchard downwind"),
    (reason(Limit.INVERSION, BROKEN, Finding.LIKELY), "inversion likely"),
    (
        reason(Limit.DEPOSIT, BROKEN, 2.1, high=1.0, neighbour_deposits=(EXPOSED,)),
        "drift onto orchard",
    ),
    (
        reason(Limit.RAIN_AFTER, BROKEN, 2 * 3600.0, 4 * 3600.0, INF, LABEL),
        "rain-free 2.0 h",
    ),
]


@pytest.mark.parametrize(("found", "said"), SHORT, ids=[said for _, said in SHORT])
def test_a_reason_as_short_as_a_title_needs(found, said):
    assert english(_speaker("us").short("creek_side", found)) == said


def test_every_limit_and_every_way_it_can_stand_has_a_sentence():
    words = _speaker("us")
    values = {Limit.INVERSION: 1.0, Limit.DROPLETS: 2.0, Limit.DROPLETS_IN_WIND: 2.0}
    for limit in Limit:
        for stand in LimitState:
            found = reason(limit, stand, values.get(limit, 5.0), 1.0, 6.0)
            assert english(words.reason("creek_side", found))
            assert len(english(words.short("creek_side", found))) <= 40


@pytest.mark.parametrize(
    ("known", "stand", "value", "expected"),
    [
        (
            Knowledge.AT_MOST,
            HOLDS,
            3.0,
            "wind 7 mph or less, at most 10 mph (label), 3 mph to spare",
        ),
        (
            Knowledge.AT_LEAST,
            BROKEN,
            9.0,
            "wind 20 mph or more, at most 10 mph (label): 10 mph over",
        ),
    ],
)
def test_of_a_bound_it_is_said_that_it_is_one(known, stand, value, expected):
    found = replace(reason(Limit.WIND, stand, value, -INF, 10 * MPH, LABEL), known=known)
    assert english(_speaker("us").reason("creek_side", found)) == expected


def test_a_title_gives_a_bound_as_one():
    found = replace(
        reason(Limit.WIND, BROKEN, 20 * MPH, -INF, 10 * MPH, LABEL), known=Knowledge.AT_LEAST
    )
    sides = [english(side) for side in _speaker("us").sides("creek_side", found)]
    assert sides == ["too windy, 20 mph or more", "too windy"]
