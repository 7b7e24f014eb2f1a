"""The farm's own map in metres: azimuthal equidistant, on the ellipsoid, about a middle.

Bearings and distances from the middle are true, and within 1e-5 of true anywhere on a farm. By
Vincenty's formulae for geodesics (Survey Review 23, 1975), which are good to a millimetre; the
library of map projections takes 10 MiB and a twentieth of a second at the start to say the same,
and the tests hold this against it.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_Floats = np.float64 | NDArray[np.float64]

_A, _F = 6_378_137.0, 1 / 298.257223563  # WGS 84
_B = _A * (1 - _F)
_CLOSE_RAD = 1e-12
_MOST_ROUNDS = 50
"""It takes five on a farm; towards the other side of the Earth it finds no end."""


class _Arc(NamedTuple):
    """Part of a geodesic: its azimuth at the equator and where on it one is."""

    sin_equator: _Floats
    cos2_equator: _Floats
    cos_twice_middle: _Floats
    """Cosine of twice the arc from the equator to the middle of the part."""

    def further_on_sphere(self, arc: _Floats) -> _Floats:
        """How much greater its difference of longitude is on the auxiliary sphere. [rad]"""
        c = _F / 16 * self.cos2_equator * (4 + _F * (4 - 3 * self.cos2_equator))
        middle, sin, cos = self.cos_twice_middle, np.sin(arc), np.cos(arc)
        around = middle + c * cos * (2 * middle**2 - 1)
        further: _Floats = (1 - c) * _F * self.sin_equator * (arc + c * sin * around)
        return further

    @property
    def _scale(self) -> tuple[_Floats, _Floats]:
        u2 = self.cos2_equator * (_A**2 - _B**2) / _B**2
        a = 1 + u2 / 16384 * (4096 + u2 * (u2 * (320 - 175 * u2) - 768))
        return a, u2 / 1024 * (256 + u2 * (u2 * (74 - 47 * u2) - 128))

    def metres(self, arc: _Floats) -> _Floats:
        """Length of an arc of the auxiliary sphere. [m]"""
        return _B * self._scale[0] * (arc - self._less(arc))

    def arc(self, metres: _Floats, arc: _Floats) -> _Floats:
        """Return a better arc of a length than one that is nearly it. [rad]"""
        return metres / (_B * self._scale[0]) + self._less(arc)

    def _less(self, arc: _Floats) -> _Floats:
        b, middle = self._scale[1], self.cos_twice_middle
        sin, cos = np.sin(arc), np.cos(arc)
        inner = cos * (2 * middle**2 - 1)
        inner = inner - b / 6 * middle * (4 * sin**2 - 3) * (4 * middle**2 - 3)
        less: _Floats = b * sin * (middle + b / 4 * inner)
        return less


@dataclass(frozen=True)
class LocalMap:
    """Degrees to metres about a middle and back."""

    latitude: float
    longitude: float

    def metres(self, longitudes: _Floats, latitudes: _Floats) -> tuple[_Floats, _Floats]:
        """Return how far east and north of the middle places lie. [m]"""
        sin1, cos1 = self._reduced
        reduced = np.arctan((1 - _F) * np.tan(np.radians(latitudes)))
        sin2, cos2 = np.sin(reduced), np.cos(reduced)
        apart = sphere = np.radians(np.asarray(longitudes, dtype=float) - self.longitude)
        for _ in range(_MOST_ROUNDS):
            east = cos2 * np.sin(sphere)
            north = cos1 * sin2 - sin1 * cos2 * np.cos(sphere)
            sin_arc = np.hypot(east, north)
            cos_arc = sin1 * sin2 + cos1 * cos2 * np.cos(sphere)
            arc = np.arctan2(sin_arc, cos_arc)
            sin_equator = _ratio(cos1 * east, sin_arc)
            cos2_equator = 1 - sin_equator**2
            way = _Arc(sin_equator, cos2_equator, cos_arc - _ratio(2 * sin1 * sin2, cos2_equator))
            before, sphere = sphere, apart + way.further_on_sphere(arc)
            if np.all(np.abs(sphere - before) < _CLOSE_RAD):
                break
        metres = way.metres(arc)
        return metres * _ratio(east, sin_arc), metres * _ratio(north, sin_arc)

    def degrees(self, east: _Floats, north: _Floats) -> tuple[_Floats, _Floats]:
        """Return longitude and latitude of places so far east and north of the middle. [m]"""
        sin1, cos1 = self._reduced
        metres = np.hypot(east, north)
        sin_from, cos_from = _ratio(east, metres), np.where(metres > 0, _ratio(north, metres), 1.0)
        sin_equator = cos1 * sin_from
        cos2_equator = 1 - sin_equator**2
        begin = np.arctan2(sin1, cos1 * cos_from)
        arc = metres / _B
        for _ in range(_MOST_ROUNDS):
            way = _Arc(sin_equator, cos2_equator, np.cos(2 * begin + arc))
            before, arc = arc, way.arc(metres, arc)
            if np.all(np.abs(arc - before) < _CLOSE_RAD):
                break
        sin, cos = np.sin(arc), np.cos(arc)
        side = np.hypot(sin_equator, sin1 * sin - cos1 * cos * cos_from)
        latitude = np.arctan2(sin1 * cos + cos1 * sin * cos_from, (1 - _F) * side)
        sphere = np.arctan2(sin * sin_from, cos1 * cos - sin1 * sin * cos_from)
        apart = np.degrees(sphere - way.further_on_sphere(arc))
        longitude = (self.longitude + apart + 180) % 360 - 180
        return longitude, np.degrees(latitude)

    @property
    def _reduced(self) -> tuple[float, float]:
        reduced = np.arctan((1 - _F) * np.tan(np.radians(self.latitude)))
        return float(np.sin(reduced)), float(np.cos(reduced))


def _ratio(over: _Floats, under: _Floats) -> _Floats:
    """Return the ratio; 0 where both are."""
    return np.divide(over, under, out=np.zeros(np.broadcast(over, under).shape), where=under != 0)
