"""Degrees ⇄ map tiles, against pyproj and the tile matrices that OGC publishes."""

import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.web_mercator import EDGE_DEG, Tile, tile_at, tiles_over, to_degrees, to_square

# OGC 17-083r4, Annex D.1, WebMercatorQuad: corner of origin and cell size at zoom 0. [m]
_ORIGIN_M, _CELL_M = 20037508.3427892, 156543.033928041
_TO_METRES = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)

latitudes = st.floats(-85.0, 85.0)
longitudes = st.floats(-179.999, 179.999)


@given(latitudes, longitudes)
def test_a_place_lies_where_pyproj_has_it(latitude: float, longitude: float) -> None:
    east, north = _TO_METRES.transform(longitude, latitude)
    x, y = to_square(latitude, longitude)
    wide = 2 * _ORIGIN_M
    assert (x * wide - _ORIGIN_M, _ORIGIN_M - y * wide) == pytest.approx((east, north), abs=1e-3)


@given(latitudes, longitudes)
def test_there_and_back_is_the_same_place(latitude: float, longitude: float) -> None:
    assert to_degrees(*to_square(latitude, longitude)) == pytest.approx(
        (latitude, longitude), abs=1e-9
    )


@given(latitudes, longitudes, st.integers(0, 20))
def test_a_tile_is_that_of_the_published_matrix(latitude: float, longitude: float, z: int) -> None:
    east, north = _TO_METRES.transform(longitude, latitude)
    span = 256 * _CELL_M / 2**z
    column, row = (east + _ORIGIN_M) / span, (_ORIGIN_M - north) / span
    found = tile_at(latitude, longitude, z)
    assert found.is_one
    assert found.x <= column + 1e-6
    assert column - 1e-6 <= found.x + 1
    assert found.y <= row + 1e-6
    assert row - 1e-6 <= found.y + 1


def test_the_edge_is_where_the_matrix_ends() -> None:
    assert _TO_METRES.transform(0.0, EDGE_DEG)[1] == pytest.approx(_ORIGIN_M, abs=1e-3)
    assert tile_at(90.0, 180.0, 3) == Tile(3, 7, 0)
    assert tile_at(-90.0, -180.0, 3) == Tile(3, 0, 7)


@pytest.mark.parametrize("tile", [Tile(1, 2, 0), Tile(1, 0, -1), Tile(-1, 0, 0), Tile(0, 0, 1)])
def test_what_lies_beyond_the_matrix_is_no_tile(tile: Tile) -> None:
    assert not tile.is_one


def test_a_rectangle_has_the_tiles_it_lies_on_and_no_others() -> None:
    assert set(tiles_over(0.26, 0.26, 0.6, 0.4, 2)) == {Tile(2, 1, 1), Tile(2, 2, 1)}
    assert set(tiles_over(-0.5, 0.9, 0.1, 1.5, 1)) == {Tile(1, 0, 1)}
