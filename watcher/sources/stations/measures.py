"""What a station's numbers and words mean."""

from watcher.sources.json_text import finite
from watcher.sources.stations.rows import number
from watcher.units import read
from watcher.weather.measures import Measure

_POINTS = "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW"
COMPASS = {word: 22.5 * index for index, word in enumerate(_POINTS.split())}
"""Where the wind comes from, by the points of the compass. [degrees]"""
_SIDES = {"NORTH": "N", "EAST": "E", "SOUTH": "S", "WEST": "W"}
_NO_DIRECTION = frozenset({"CALM", "C", "VRB", "VARIABLE"})


def of_text(measure: Measure, text: str) -> float | None:
    """Return what a text says: a number, one with its unit, or a point of the compass.

    None where it says that there is no direction. ``ValueError`` for what is nothing of these.
    """
    if measure.quantity.name == "wind_from":
        word = "".join(text.upper().replace("-", " ").split())
        for side, letter in _SIDES.items():
            word = word.replace(side, letter)
        if word in COMPASS:
            return COMPASS[word]
        if word in _NO_DIRECTION:
            return None
    bare = number(text.strip())
    return measure.si(bare) if bare is not None else measure.inside(read(text, measure.kind))


def of_json(measure: Measure, value: object) -> float | None:
    """Return what a JSON value says, likewise."""
    if isinstance(value, str):
        return of_text(measure, value)
    bare = finite(value)
    if bare is None:
        raise ValueError(f"{value!r:.40} is no number")
    return measure.si(bare)
