"""Windows that can never open, and limits a field may not loosen."""

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from astral import Observer
from astral.sun import daylight

from watcher.farm.load import load
from watcher.limits.catalogue import IN_WINDOWS, WRITTEN

WIND = 'wind = { low = "3 mph", high = "10 mph", origin = "label" }'
TEMPERATURE = 'temperature = { low = "50 degF", high = "90 degF" }'
DROPLETS = 'droplets = { low = "fine", origin = "label" }'

SHUT = [
    (TEMPERATURE, 'temperature = { low = "95 degF", high = "90 degF" }', "temperature", "95.0"),
    (TEMPERATURE, 'temperature = { low = "90 degF", high = "90 degF" }', "temperature", "90.0"),
    (WIND, 'wind = { low = "12 mph", high = "10 mph" }', "wind", "low 12.0 mph"),
    (WIND, f'{WIND}\ngust = {{ high = "3 mph" }}', "gust", "3.0 mph"),
    (WIND, f'{WIND}\nhumidity = {{ low = "90 %", high = "40 %" }}', "humidity", "90.0%"),
    (WIND, f'{WIND}\ndelta_t = {{ low = "8 K", high = "2 K" }}', "delta_t", "can never open"),
    ('rain_free_after = { low = "4 h"', 'rain_free_after = { low = "3 d"', "rain_free_after",
     "judging.horizon"),
]  # fmt: skip


@pytest.mark.parametrize(("was", "now", "limit", "said"), SHUT, ids=[s[1] for s in SHUT])
def test_a_window_that_can_never_open_is_told(
    farm: Any, was: str, now: str, limit: str, said: str
) -> None:
    problem = farm.edit(was, now).problem()
    assert problem.key == f"windows.contact.{limit}"
    assert said in problem.wrong


BOUNDS = [
    ('after_sunrise = { low = "1 h" }', "after_sunrise = {}", "after_sunrise", "names no bound"),
    ('after_sunrise = { low = "1 h" }', 'after_sunrise = { high = "1 h" }',
     "after_sunrise.high", "means nothing"),
    (WIND, f'{WIND}\ngust = {{ low = "5 mph", high = "15 mph" }}', "gust.low", "means nothing"),
    (WIND, 'wind = { high = "10 mph" }', "wind", "needs a low and a high bound"),
    (WIND, 'wind = { low = "3 mph" }', "wind", "needs a low and a high bound"),
    (TEMPERATURE, 'temperature = { high = "90 degF", low_origin = "law" }',
     "temperature.low_origin", "no low bound"),
]  # fmt: skip


@pytest.mark.parametrize(("was", "now", "key", "said"), BOUNDS, ids=[b[1] for b in BOUNDS])
def test_a_bound_that_is_none_is_told(farm: Any, was: str, now: str, key: str, said: str) -> None:
    problem = farm.edit(was, now).problem()
    assert problem.key == f"windows.contact.{key}"
    assert said in problem.wrong


BOTH_SIDES = [key for key, entry in IN_WINDOWS.items() if len(entry.sides) == 2]
ONE_SIDE = [key for key, entry in IN_WINDOWS.items() if len(entry.sides) == 1]


def _with(key: str, bounds: str) -> str:
    return f"{key} = {bounds}" if key == "wind" else f"{WIND}\n{key} = {bounds}"


@pytest.mark.parametrize("key", BOTH_SIDES)
@pytest.mark.parametrize(("high", "mend"), [("3", "swap low and high"), ("9", "leave room")])
def test_every_bound_the_wrong_way_round_is_told_with_its_mend(
    farm: Any, key: str, high: str, mend: str
) -> None:
    unit = WRITTEN[key].kind.inside
    bounds = f'{{ low = "9 {unit}", high = "{high} {unit}" }}'
    (problem,) = farm.edit(TEMPERATURE, "").edit(WIND, _with(key, bounds)).problems()
    assert problem.key == f"windows.contact.{key}"
    assert "is not under high" in problem.wrong
    assert mend in problem.mend
    assert problem.file.name == "farm.toml"


@pytest.mark.parametrize("key", ONE_SIDE)
def test_every_bound_on_the_side_that_means_nothing_is_told(farm: Any, key: str) -> None:
    (meant,) = IN_WINDOWS[key].sides
    other = "high" if meant == "low" else "low"
    bounds = f'{{ {other} = "9 {WRITTEN[key].kind.inside}" }}'
    farm = farm.edit('after_sunrise = { low = "1 h" }\n', "")
    farm = farm.edit('before_sunset = { low = "2 h" }\n', "")
    farm = farm.edit('rain_free_after = { low = "4 h" }\n', "")
    problems = farm.edit(WIND, _with(key, bounds)).problems()
    assert [p.key for p in problems if p.wrong.startswith("means nothing")] == [
        f"windows.contact.{key}.{other}"
    ]


@pytest.mark.parametrize(
    ("was", "now", "mend"),
    [
        ('after_sunrise = { low = "1 h" }', "after_sunrise = {}", "write low, or take"),
        (TEMPERATURE, "temperature = {}", "write low or high, or take"),
        (
            'after_sunrise = { low = "1 h" }',
            'after_sunrise = { low = "1 h", high = "2 h" }',
            "only low counts: take high out",
        ),
        (TEMPERATURE, 'temperature = { low = "90 degF", high = "90 degF" }', "leave room"),
        (TEMPERATURE, 'temperature = { low = "91 degF", high = "90 degF" }', "swap low and high"),
    ],
)
def test_the_mend_of_a_bound_fits_it(farm: Any, was: str, now: str, mend: str) -> None:
    assert mend in farm.edit(was, now).problem().mend


@pytest.mark.parametrize(
    ("was", "now"),
    [
        (WIND, f'{WIND}\ngust = {{ high = "3.1 mph" }}'),
        ('rain_free_after = { low = "4 h"', 'rain_free_after = { low = "48 h"'),
        (TEMPERATURE, 'temperature = { low = "89.9 degF", high = "90 degF" }'),
        (TEMPERATURE, 'temperature = { high = "90 degF" }'),
        (DROPLETS, ""),
    ],
)
def test_a_window_that_opens_at_all_is_taken(farm: Any, was: str, now: str) -> None:
    load(farm.edit(was, now).write())


LOOSER = [
    ('wind = { high = "12 mph" }', 'wind.high = "12 mph"', "the label's 10.0 mph"),
    ('wind = { low = "2 mph" }', 'wind.low = "2 mph"', "the label's 3.0 mph"),
    ('temperature = { high = "95 degF" }', 'temperature.high = "95 degF"', "its window's own 90"),
    ('rain_free_after = { low = "1 h" }', 'rain_free_after.low = "1 h"', "its window's own 4.0 h"),
    ('droplets = { low = "very fine" }', 'droplets.low = "very fine"', "the label's fine"),
]


@pytest.mark.parametrize(("own", "key", "said"), LOOSER, ids=[w[0] for w in LOOSER])
def test_a_field_may_not_loosen_its_window(farm: Any, own: str, key: str, said: str) -> None:
    farm.edit(
        'crop = "corn"\nweeds = "weedy"', f'crop = "corn"\nlimits = {{ {own} }}\nweeds = "weedy"'
    )
    problem = farm.problem()
    assert problem.key == f"fields.north.limits.{key}"
    assert said in problem.wrong
    assert "only tighten" in problem.mend


def test_a_law_is_named_where_it_is_the_bound(farm: Any) -> None:
    farm.edit(TEMPERATURE, 'temperature = { high = "85 degF", origin = "law" }')
    farm.edit('weeds = "weedy"', 'weeds = "weedy"\nlimits = { temperature = { high = "90 degF" } }')
    assert "the law's 85" in farm.problem().wrong


def test_a_field_may_tighten_and_add(farm: Any) -> None:
    own = 'wind = { low = "4 mph", high = "8 mph" }, humidity = { low = "40 %" }'
    farm.edit('weeds = "weedy"', f'weeds = "weedy"\nlimits = {{ {own} }}')
    load(farm.write())


def test_own_limits_equal_to_the_windows_loosen_nothing(farm: Any) -> None:
    own = ", ".join([WIND, TEMPERATURE, DROPLETS]).replace(', origin = "label"', "")
    load(farm.edit('weeds = "weedy"', f'weeds = "weedy"\nlimits = {{ {own} }}').write())


def test_own_droplets_beside_a_window_that_names_none_are_taken(farm: Any) -> None:
    own = "limits = { droplets = { low = 'coarse' } }"
    load(farm.edit(DROPLETS, "").edit('weeds = "weedy"', f'weeds = "weedy"\n{own}').write())


def test_own_limits_that_leave_nothing_of_the_window_are_told(farm: Any) -> None:
    farm.edit('weeds = "weedy"', 'weeds = "weedy"\nlimits = { wind = { low = "11 mph" } }')
    problem = farm.problem()
    assert problem.key == "fields.north.limits.wind"
    assert 'window "contact"' in problem.wrong
    assert "leave room" in problem.mend  # the two bounds are of two tables: nothing to swap


def test_own_bounds_the_wrong_way_round_are_told_with_their_mend(farm: Any) -> None:
    own = 'limits = { temperature = { low = "80 degF", high = "60 degF" } }'
    problem = farm.edit('weeds = "weedy"', f'weeds = "weedy"\n{own}').problem()
    assert problem.key == "fields.north.limits.temperature"
    assert "swap" in problem.mend


def test_a_field_no_setup_is_coarse_enough_for_is_told(farm: Any) -> None:
    farm.edit(DROPLETS, 'droplets = { low = "very coarse", origin = "label" }')
    assert {p.key for p in farm.problems()} == {"fields.north.setups", "fields.south.setups"}


def test_a_setup_that_cannot_be_read_may_be_coarse_enough(farm: Any) -> None:
    farm.edit(DROPLETS, 'droplets = { low = "very coarse", origin = "label" }')
    farm.edit('nozzle_size = "03"', 'nozzle_size = "3"')
    assert [p.key for p in farm.problems()] == ['setups.coarse.nozzle_size = "3"']


def test_one_coarse_enough_setup_is_enough(farm: Any) -> None:
    farm.edit(DROPLETS, 'droplets = { low = "coarse", origin = "label" }')
    load(farm.write())


@pytest.mark.parametrize("spare_h", [0.05, -0.05])
@pytest.mark.parametrize(
    ("zone", "west", "south", "longest"),
    [
        ("America/Chicago", -96.5, 41.5, date(2026, 6, 21)),
        ("America/Argentina/Buenos_Aires", -60.0, -34.0, date(2026, 12, 21)),
        ("Europe/Stockholm", 17.5, 60.0, date(2026, 6, 21)),
    ],
)
def test_sun_limits_longer_than_the_longest_day_there_are_told(
    farm: Any, zone: str, west: float, south: float, longest: date, spare_h: float
) -> None:
    # The longest day by an independent almanac; 2 h of it go to before_sunset.
    sunrise, sunset = daylight(Observer(south, west), date=longest, tzinfo=ZoneInfo(zone))
    after = (sunset - sunrise).total_seconds() / 3600 - 2 - spare_h
    for name, north in (("north", 0), ("south", -0.006), ("orchard", 0.006)):
        farm.draw(name, farm.square(0, north, west=west, south=south))
    farm.edit("America/Chicago", zone)
    farm.edit('after_sunrise = { low = "1 h" }', f'after_sunrise = {{ low = "{after} h" }}')
    if spare_h > 0:
        load(farm.write())
    else:
        assert {p.key for p in farm.problems()} == {"fields.north", "fields.south"}


def test_what_the_day_has_and_what_is_taken_of_it_are_told(farm: Any) -> None:
    farm.edit('after_sunrise = { low = "1 h" }', 'after_sunrise = { low = "13.5 h" }')
    found = farm.problems()[0]
    assert "the longest day there has 15.2 h" in found.wrong  # 15 h 11 min, as above
    assert "take 15.5 h of it" in found.mend


@pytest.mark.parametrize(("after", "noticed"), [("10 h", False), ("10.5 h", True)])
def test_at_the_equator_no_day_is_much_longer_than_half_a_day(
    farm: Any, after: str, noticed: bool
) -> None:
    for name, north in (("north", 0), ("south", -0.006), ("orchard", 0.006)):
        farm.draw(name, farm.square(0, north, west=-78.5, south=-0.2))
    farm.edit("America/Chicago", "America/Guayaquil")
    farm.edit('after_sunrise = { low = "1 h" }', f'after_sunrise = {{ low = "{after}" }}')
    if noticed:
        assert {p.key for p in farm.problems()} == {"fields.north", "fields.south"}
    else:
        load(farm.write())


WIND_RULE = '\n[[windows.contact.rules]]\nkind = "wind"\n'


@pytest.mark.parametrize(
    ("rule", "enough"),
    [
        (f'{WIND_RULE}high = "9 mph"', True),
        (f'{WIND_RULE}low = "2 mph"', False),
        (f'{WIND_RULE}high = "9 mph"\nforce = "advice"', False),
        ('\n[[windows.contact.rules]]\nkind = "speed"\nmost = "9 mph"', False),
    ],
)
def test_only_a_rule_that_bounds_strong_wind_takes_the_place_of_the_windows(
    farm: Any, rule: str, enough: bool
) -> None:
    farm.edit(WIND, "").add(rule)
    if enough:
        load(farm.write())
    else:
        assert farm.problem().key == "windows.contact.wind"


def test_the_wind_must_be_ruled_on_every_field_of_a_window(farm: Any) -> None:
    farm.edit(WIND, "").edit('weeds = "weedy"', 'weeds = "weedy"\nproducts = ["a"]')
    farm.add('\n[products.a]\nname = "A"\nregistration = "0-0"\n')
    farm.add(WIND_RULE.replace("windows.contact", "products.a") + 'high = "9 mph"\n')
    assert farm.problem().key == "windows.contact.wind"


def test_a_window_of_no_field_needs_its_own_wind(farm: Any) -> None:
    farm.edit('units = "us"', 'units = "us"\npresets = ["FR wind and rain"]')
    assert farm.add("\n[windows.spare]\n").problem().key == "windows.spare.wind"
