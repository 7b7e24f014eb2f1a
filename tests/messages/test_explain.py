"""Drift, setups, end rows and air as sentences, checked by hand: 1 m = 3.2808 ft."""

import math
from typing import Any

import numpy as np
import pytest

from tests.support.compass_farm import beside, compass_farm
from tests.support.english import english
from tests.support.worked_farm import NOON_UTC, fair_weather, farm_tables
from watcher.farm import Farm
from watcher.farm.models import DropletClass, Origin
from watcher.judge.drops_in_air import Drop, DropsInAir
from watcher.judge.end_rows import EndRow, Turn, Why
from watcher.judge.judgement import Judgement, judge
from watcher.judge.neighbour_deposits import Mends, NeighbourDeposit
from watcher.judge.setup_advice import advise, advise_on
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.air import air_line, drop_lines, inversion_lines
from watcher.messages.drift import exposed_line, mend_line, percent, up_to
from watcher.messages.end_rows import end_row_lines
from watcher.messages.explain import explanation, headline_of
from watcher.messages.reasons import Speaker
from watcher.messages.setups import advice_lines, setup_lines
from watcher.weather.inversion import assess

NAN, INF = math.nan, math.inf


def landing(**changed: Any) -> NeighbourDeposit:
    found: dict[str, Any] = {
        "neighbour": "orchard",
        "side": "N",
        "gap_m": 10.0,
        "edge_pct": 0.034,
        "strip_pct": 0.0281,
        "upper_pct": 0.2345,
        "tolerance_pct": 0.1,
        "extrapolated": False,
        "origin": Origin.DEFAULT,
    }
    return NeighbourDeposit(**(found | changed))


EXPOSED = [
    (
        landing(),
        "us",
        "orchard to the N, 33 ft: 0.034% of the rate expected at its edge, 0.028% over its first "
        "16 ft, up to 0.23%; it stands 0.1% (our default)",
    ),
    (
        landing(side="all round", tolerance_pct=INF),
        "metric",
        "orchard all round, 10 m: 0.034% of the rate expected at its edge, 0.028% over its first "
        "5 m, up to 0.23%; it takes no harm",
    ),
    (
        landing(extrapolated=True),
        "metric",
        "orchard to the N, 10 m: 0.034% of the rate expected at its edge, 0.028% over its first "
        "5 m, up to 0.23%; it stands 0.1% (our default) (beyond what was ever measured)",
    ),
    (
        landing(upper_pct=0.0, edge_pct=0.0, strip_pct=0.0, extrapolated=True),
        "us",
        "orchard to the N, 33 ft: nothing lands there in this wind",
    ),
    (
        landing(upper_pct=NAN, edge_pct=NAN, strip_pct=NAN),
        "us",
        "orchard to the N, 33 ft: unknown, the wind or its direction is missing",
    ),
]


@pytest.mark.parametrize(("found", "system", "said"), EXPOSED)
def test_what_may_land_on_a_neighbour(found: NeighbourDeposit, system: Any, said: str) -> None:
    assert english(exposed_line(found, system)) == said


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0%"), (0.0004, "under 0.001%"), (0.0123, "0.012%"), (14.4, "14%")]
)
def test_a_deposit_in_two_figures(value: float, said: str) -> None:
    assert english(percent(value)) == said


def test_a_trace_is_not_up_to_something() -> None:
    assert english([up_to(0.0004), up_to(0.05)]) == ["under 0.001%", "up to 0.05%"]


NOTHING = "Nothing brings that down in this wind: no setup, no swaths left out, no direction."
MENDS = [
    (
        Mends(("coarse_15",), 2, ("N", "NE", "NW")),
        "To bring that down, take setup coarse 15; or leave the outer 2 swaths beside them; "
        "or wait for wind from NW to NE.",
    ),
    (
        Mends(("a", "b"), 1, ("N", "S")),
        "To bring that down, take setup a or b; or leave the outer swath beside them; "
        "or wait for wind from N or S.",
    ),
    (Mends((), None, ()), NOTHING),
    (Mends((), 0, ("N", "NE", "E", "SE", "S", "SW", "W", "NW")), NOTHING),
]


@pytest.mark.parametrize(("found", "said"), MENDS)
def test_what_would_mend_it(found: Mends, said: str) -> None:
    assert english(mend_line(found)) == said


def worked(units: str = "us", **tables: Any) -> Farm:
    farm = farm_tables()["farm"] | {"units": units}
    return compass_farm({"vines": beside("N", 10.0)}, tables={"farm": farm} | tables)


def seen(farm: Farm, **sky: Any) -> Judgement:
    return judge(FarmArrays.of(farm), fair_weather(**sky))


def explained(judgement: Judgement, case: tuple[int, int, int]) -> dict[str, list[str]]:
    parts = explanation(Speaker(judgement.plan.farm), judgement, case)
    return {english(part.heading): english(part.lines) for part in parts}


HOUR = 3600
ROWS = [
    EndRow("N", 400.0, Turn.FIRST, Why.AWAY, "vines", 10.0, NOON_UTC + 2 * HOUR, Why.DOWNWIND, "S"),
    EndRow("E", 200.0, Turn.ANY_TIME, Why.NOBODY),
    EndRow("S", 400.0, Turn.ANY_TIME, Why.NOBODY),
    EndRow("W", 200.0, Turn.LEAVE, Why.DOWNWIND, "garden", 30.0, leave_swaths=3),
]


def test_end_rows_are_a_numbered_list_with_reasons() -> None:
    # NOON_UTC is 11:00 on the farm's clock.
    assert english(end_row_lines(Speaker(worked("metric")), ROWS, NOON_UTC)) == [
        "1 first: N side, 400 m long, vines 10 m off: the wind moves away from it; "
        "from 13:00 the wind blows there (from the S)",
        "2 any time: E, S sides; nobody who minds is in reach",
        "3 leave: W side, 200 m long, garden 30 m off: the wind blows there; leave 3 swaths",
    ]


@pytest.mark.parametrize(
    ("row", "end"),
    [
        (
            EndRow("N", 400.0, Turn.LEAVE, Why.DOWNWIND, "v", 9.0, NOON_UTC + HOUR, Why.AWAY, "N"),
            "; wait for 12:00, wind from the N",
        ),
        (
            EndRow(
                "N", 400.0, Turn.LEAVE, Why.TOO_MUCH, "v", 9.0, NOON_UTC + HOUR, Why.AWAY, "N", 1
            ),
            "; wait for 12:00, wind from the N, or leave 1 swath",
        ),
        (
            EndRow("N", 400.0, Turn.LEAVE, Why.UNKNOWN, "v", 9.0),
            " the wind or its direction is unknown; no better hour in the forecast",
        ),
        (EndRow("N", 400.0, Turn.FIRST, Why.CALM, "v", 9.0), "it is calm; it may turn or rise"),
    ],
)
def test_a_side_is_told_what_it_waits_for(row: EndRow, end: str) -> None:
    (said,) = english(end_row_lines(Speaker(worked()), [row], NOON_UTC))
    assert said.endswith(end)


def test_the_recommended_setup_comes_first_and_the_others_tell_their_cost() -> None:
    judgement = seen(worked("metric"), wind_mph=5.0, wind_from_deg=180.0)
    lines = advice_lines(Speaker(judgement.plan.farm), advise(judgement, 0, 0))
    first, *others = english(lines)
    assert first.startswith("◐ coarse15, marginal: use this; loses up to 8% of weed control here")
    assert first.endswith("of the rate on vines")
    fine, coarse7 = others
    assert fine.startswith("✕ fine15, unsuitable: drift onto vines to the N, 10 m: up to ")
    assert fine.endswith("; against coarse15 8 points more control, 8.8 times the drift")
    assert coarse7.endswith("; against coarse15 15 points less control")


def test_while_the_field_is_closed_no_setup_is_recommended() -> None:
    judgement = seen(worked(), wind_mph=14.0)
    first = english(advice_lines(Speaker(judgement.plan.farm), advise(judgement, 0, 0)))[0]
    assert "not open, but it comes closest" in first
    assert "use this" not in first


def test_a_setup_in_the_farms_units() -> None:
    setups = farm_tables()["setups"]
    setups["fine15"] |= {"nozzle_size": "04", "adjuvant": "polyacrylamide"}
    farm = worked(setups=setups)
    judgement = seen(farm)
    lines = english(setup_lines(Speaker(farm), advise_on(judgement, 0, 0, 0)))
    # 16.00 ha are 39.5 acres, 593 gal at 15; 85.09 acres an hour: 28 min and a fill of 15.
    assert lines == [
        "Each nozzle must give 0.61 gal/min: size 04 (red) at 89 psi.",
        "That pressure is outside what flat fan nozzles are made for, 15 to 61 psi.",
        "Droplets fine; at this rate one class finer above 14.3 mph.",
        "Last load: 593 gal for 39.5 acre: 39.5 times the dose per acre.",
        "Work rate 85 acre/h; the field takes 43 min with fills.",
        "Drift 174% of the reference nozzle's, up to 220% for the finest spray of its class "
        "(estimated from the drop sizes of the class).",
        "Loses 0% of grass control and 0% of broadleaf control (common practice, no source).",
        "Drift retardant polyacrylamide: start at a third to a half of the full rate, raise it "
        "load by load, never above the label's maximum (common practice, no source).",
        "The pump shears it to nothing within about an hour of recirculation: 29% of its effect is "
        "left at the end of a load.",
    ]


DROPS = DropsInAir(
    DropletClass.COARSE,
    (Drop(1e-4, 22.4, 3.6, True), Drop(2e-4, INF, 0.2, True), Drop(4e-4, 6.0, 40.0, False)),
    ((10.0, 0.021), (50.0, 0.0014)),
    0.012,
)


def test_what_becomes_of_drops() -> None:
    assert english(drop_lines(DROPS, "metric")) == [
        "A drop of 100 µm lands 3.6 m downwind; it would dry up in 22 s.",
        "A drop of 200 µm lands 0.2 m downwind; it never dries up.",
        "A drop of 400 µm dries up within 6 s, 40.0 m downwind.",
        "Of the outer 20 m sprayed with coarse drops, still in the air downwind: 2.1% at 10 m "
        "and 0.1% at 50 m; up to 1.2% dries up before it lands.",
    ]


def test_drops_in_unknown_air_are_unknown() -> None:
    lost = DropsInAir(DropletClass.FINE, (Drop(1e-4, NAN, NAN, False),), ((10.0, NAN),), NAN)
    assert english(drop_lines(lost, "us")) == [
        "A drop of 100 µm: unknown, wind or humidity is missing.",
        "How much of the spray stays in the air is unknown.",
    ]


def test_every_line_of_evidence_has_its_say_and_the_next_change_its_hour() -> None:
    farm = worked()
    wind = np.where((np.arange(72) + 11) % 24 >= 20, 1.0, 7.0)
    judgement = seen(farm, wind_mph=wind, cloud_pct=0.0)
    lines = english(inversion_lines(Speaker(farm), assess(judgement.series), 0))
    assert lines[:3] == [
        "Inversion, taken together: none",
        "  temperature at two heights: no data",
        "  cloud, sun and wind: none",
    ]
    assert len(lines) == 1 + 6 + 2
    assert lines[-2].startswith("One may form from ")
    assert lines[-1].startswith("It breaks by tomorrow ")


def test_missing_weather_is_said_to_be_unknown() -> None:
    farm = worked("metric")
    judgement = seen(farm, wind_mph=np.nan, wind_from_deg=np.nan, humidity_pct=np.nan)
    assert english(air_line(Speaker(farm), judgement, (0, 0, 0))) == (
        "Wind at the boom unknown from nobody knows where, gusts unknown; temperature 20 °C, "
        "humidity unknown, Delta T unknown."
    )


def test_an_explanation_has_every_part_whatever_is_known() -> None:
    farm = worked()
    for sky in ({}, {"wind_mph": np.nan}, {"wind_from_deg": np.nan}, {"temp_c": np.nan}):
        judgement = seen(farm, **sky)
        parts = explained(judgement, (0, 1, 0))
        assert list(parts) == [
            "Weather",
            "Limits",
            "Drift",
            "Drops",
            "Stability",
            "Setups",
            "This setup",
            "End rows",
        ]
        assert all(parts.values())


def test_drift_over_what_a_neighbour_stands_comes_with_its_mend() -> None:
    farm = worked()
    judgement = seen(farm, wind_mph=9.0, wind_from_deg=180.0)
    drift = explained(judgement, (0, 0, 0))["Drift"]
    assert len(drift) == 2
    assert drift[1].startswith("To bring that down, ")


def test_the_headline_tells_field_setup_hour_and_status() -> None:
    farm = worked()
    judgement = seen(farm, wind_mph=14.0)
    assert (
        english(headline_of(Speaker(farm), judgement, (0, 0, 3), NOON_UTC))
        == "✕ F with fine15, 14:00: unsuitable"
    )


def test_on_a_closed_field_the_order_of_sides_says_so() -> None:
    farm = worked()
    closed, open_ = (
        explained(seen(farm, wind_mph=mph), (0, 1, 0))["End rows"] for mph in (14.0, 5.0)
    )
    assert closed[0].startswith("The field is not open with this setup")
    assert open_[0].startswith("1 first: ")
