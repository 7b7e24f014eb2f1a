"""Shapes on the ground: boundaries in degrees and in metres, areas, and the farm's middle."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from watcher.farm.geometry.local_map import LocalMap

Polygonal = shapely.Polygon | shapely.MultiPolygon


@dataclass(frozen=True)
class Ground:
    """Boundaries of fields and neighbours in degrees (RFC 7946) and in metres about the middle."""

    fields_deg: Mapping[str, Polygonal]
    neighbours_deg: Mapping[str, Polygonal]

    @cached_property
    def middle(self) -> tuple[float, float]:
        """Latitude and longitude of the middle of the fields. [degrees]"""
        centre = shapely.GeometryCollection(list(self.fields_deg.values())).centroid
        return float(centre.y), float(centre.x)

    @cached_property
    def _map(self) -> LocalMap:
        return LocalMap(*self.middle)

    def _in_metres(self, shapes: Mapping[str, Polygonal]) -> dict[str, Polygonal]:
        def project(degrees: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.column_stack(self._map.metres(degrees[:, 0], degrees[:, 1]))

        metres = shapely.transform(np.array(list(shapes.values()), dtype=object), project)
        return dict(zip(shapes, metres, strict=True))

    @cached_property
    def fields(self) -> dict[str, Polygonal]:
        """Field boundaries, x east and y north. [m]"""
        return self._in_metres(self.fields_deg)

    @cached_property
    def neighbours(self) -> dict[str, Polygonal]:
        """Neighbour boundaries, x east and y north. [m]"""
        return self._in_metres(self.neighbours_deg)

    def distance_m(self, field: str, latitude: float, longitude: float) -> float:
        """From a place to the nearest part of a field; none from within it. [m]"""
        return float(self.point(latitude, longitude).distance(self.fields[field]))

    def point(self, latitude: float, longitude: float) -> shapely.Point:
        """Return a place, x east and y north of the middle. [m]"""
        return _point(self._map, latitude, longitude)

    def beside(self, field: str, neighbour: str, within_m: float) -> BaseGeometry:
        """Return the ground of a field within a distance of a neighbour. [m]"""
        return self.fields[field].intersection(self.neighbours[neighbour].buffer(within_m))

    def strips_m2(self, field: str, depth_m: Mapping[str, float]) -> float:
        """Area of the strips of some depth along a field's edge beside some neighbours. [m2]

        Ground that lies in two of them counts once.
        """
        shape = self.fields[field]
        strips = [
            self.beside(field, name, shape.distance(self.neighbours[name]) + depth)
            for name, depth in depth_m.items()
        ]
        return float(shapely.union_all(strips).area)

    def in_degrees(self, shape: BaseGeometry) -> BaseGeometry:
        """Return a shape in metres about the middle in degrees, x longitude and y latitude."""

        def back(metres: NDArray[np.float64]) -> NDArray[np.float64]:
            return np.column_stack(self._map.degrees(metres[:, 0], metres[:, 1]))

        return shapely.transform(shape, back)

    def area_m2(self, field: str) -> float:
        """Area of a field. [m2]"""
        return float(self.fields[field].area)

    def centre(self, field: str) -> tuple[float, float]:
        """Latitude and longitude of a field's middle. [degrees]"""
        centre = self.fields_deg[field].centroid
        return float(centre.y), float(centre.x)


@lru_cache(maxsize=256)
def _point(local: LocalMap, latitude: float, longitude: float) -> shapely.Point:
    # The same few stations are asked for with every field.
    east, north = local.metres(np.float64(longitude), np.float64(latitude))
    return shapely.Point(float(east), float(north))
