"""The map of a record: the field in metres, the strips that were to be left, and the wind."""

import pytest
import shapely

from tests.support import sprayed
from tests.support.farms import build
from watcher.records.field_map import map_of
from watcher.records.layout import Writer


def with_strip(store):
    config = sprayed.farm_tables()
    config["neighbours"]["orchard"]["no_spray_distance"] = "60 m"
    desk = sprayed.RuleGroup(store, build(config))
    kept = desk.keep(sprayed.spray(store, desk.farm)).kept
    return kept, Writer(desk.farm.zone, "metric")


def test_a_field_is_drawn_in_metres_about_its_middle(store) -> None:
    (ring,) = map_of(*with_strip(store)).field
    assert shapely.Polygon(ring).bounds == pytest.approx((-200, -200, 200, 200), rel=0.01)


def test_the_strip_lies_beside_the_neighbour_it_is_left_for(store) -> None:
    # The orchard lies 10 m north of the field: 60 m from it are 50 m of the field.
    (ring,) = map_of(*with_strip(store)).to_leave
    _, south, _, north = shapely.Polygon(ring).bounds
    assert (south, north) == (pytest.approx(150, rel=0.02), pytest.approx(200, rel=0.02))


def test_how_the_buffer_was_worked_out_is_kept_and_told(store) -> None:
    config = sprayed.farm_tables()
    config["neighbours"]["orchard"] |= {"kinds": ["crop"], "between": ["road"]}
    config["setups"]["coarse"]["measures"] = ["hood"]
    buffer = {
        "protects": ["crop"],
        "base": "240 ft",
        "inside": ["road"],
        "reductions": [{"needs": ["hood"], "percent": "50 %"}],
        "combine": "add and cap",
        "citation": "section 9",
    }
    config["products"]["contact_a"]["buffers"] = [buffer]
    for field in config["fields"].values():
        field["products"] = ["contact_a"]
    desk = sprayed.RuleGroup(store, build(config))
    kept = desk.keep(sprayed.spray(store, desk.farm)).kept
    [left] = kept.moments[0].to_leave
    assert left.how.required_m == pytest.approx(120 * 0.3048)
    assert left.how.reduced_by == ("50 %: hood",)
    assert left.depth_m == pytest.approx(left.how.required_m - left.how.gap_counted_m)
    assert (
        "240 ft asked for (label, product contact a, section 9), 50 %: hood: 120 ft, less 33 ft of "
        "the gap of 33 ft" in map_of(kept, Writer(desk.farm.zone, "us")).lines
    )


def test_the_wind_of_start_and_end_is_an_arrow(store) -> None:
    winds = map_of(*with_strip(store)).winds
    assert [(word, round(deg)) for word, deg in winds] == [("start", 180), ("end", 180)]


def test_what_was_not_kept_of_strips_is_not_called_none(store) -> None:
    kept, writer = with_strip(store)
    moments = tuple(m.model_copy(update={"to_leave": None}) for m in kept.moments)
    older = kept.model_copy(update={"moments": moments})
    assert "strips to leave unsprayed: not known for all of the job" in map_of(older, writer).lines


def test_a_wind_that_nobody_measured_has_no_arrow(store) -> None:
    kept, writer = with_strip(store)
    moments = tuple(m.model_copy(update={"wind_from_deg": None}) for m in kept.moments)
    shown = map_of(kept.model_copy(update={"moments": moments}), writer)
    assert shown.winds == ()
    assert "start: wind direction not known" in shown.lines
