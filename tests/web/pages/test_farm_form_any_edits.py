"""Whatever is edited and undone in whichever order: file, forms and judgement tell of one farm."""

import copy
from collections.abc import Mapping
from datetime import date
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.farm_files import written
from tests.support.farms import build, watched_tables
from tests.support.running import SetClock
from tests.support.skies import MORNING, judged, timeline
from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.editing.uses import Table, uses_of
from watcher.farm.load import load
from watcher.farm.problems import FarmFileError
from watcher.i18n.message import say
from watcher.limits.farm_arrays import FarmArrays
from watcher.service.farm_editor import FarmEditor
from watcher.service.farm_versions import FarmVersions
from watcher.web.pages.entry_forms import form_of
from watcher.web.pages.farm_form import FormPage, rows, written_at

FIELDS = st.sampled_from(["creek_side", "hill"])
NAMES = st.sampled_from(["one", "two"])


def at(*steps: Any) -> Any:
    """A strategy of places, of steps that are texts or strategies."""
    return st.tuples(
        *(one if isinstance(one, st.SearchStrategy) else st.just(one) for one in steps)
    )


def put(place: Any, value: Any) -> Any:
    return st.builds(SetValue, place, value)


def mph(least: int, most: int) -> Any:
    return st.integers(least, most).map(lambda n: f"{n} mph")


EDITS: st.SearchStrategy[Edit] = st.one_of(
    put(at("fields", FIELDS, "weeds"), st.sampled_from(["clean", "moderate", "weedy"])),
    put(at("fields", FIELDS, "canopy"), st.integers(1, 60).map(lambda n: f"{n} in")),
    put(at("fields", FIELDS, "latest"), st.dates(date(2026, 7, 1), date(2026, 8, 30))),
    put(at("fields", FIELDS, "limits", "wind", "high"), mph(6, 10)),
    put(at("fields", FIELDS, "setups"), st.sampled_from([["coarse"], ["coarse", "fine"]])),
    put(at("fields", FIELDS, "products"), st.sampled_from([["one"], ["two"], ["one", "two"], []])),
    put(at("windows", "contact", "gust", "high"), mph(9, 18)),
    put(at("windows", "contact", "humidity"), st.integers(10, 50).map(lambda n: {"low": f"{n} %"})),
    put(at("windows", NAMES), st.just({"wind": {"low": "2 mph", "high": "9 mph"}})),
    put(at("fields", FIELDS, "window"), st.sampled_from(["contact", "one", "two"])),
    put(at("sprayers", "boom", "speed"), mph(4, 12)),
    put(
        at("setups", NAMES),
        st.just(
            {
                "sprayer": "boom",
                "nozzle": "air induction",
                "droplets": "very coarse",
                "carrier": "18 gal/acre",
            }
        ),
    ),
    put(at("products", NAMES), st.just({"name": "Invented", "registration": "0-0"})),
    st.builds(Remove, at("fields", FIELDS, st.sampled_from(["latest", "limits", "setups"]))),
    st.builds(Remove, at("windows", "contact", "humidity")),
    st.builds(Remove, at(st.sampled_from(["windows", "setups", "products"]), NAMES)),
)


def applied(model: Mapping[str, Any], edit: Edit) -> dict[str, Any]:
    """The same edit on plain tables, told anew here: not by what is tried."""
    assert isinstance(edit, SetValue | Remove)
    whole = copy.deepcopy(dict(model))
    *above, last = edit.at
    place: Any = whole
    for step in above:
        if step not in place and isinstance(edit, Remove):
            return whole
        place = place.setdefault(step, {})
    if isinstance(edit, SetValue):
        place[last] = copy.deepcopy(edit.value)
    else:
        place.pop(last, None)
    return whole


def same(editor: FarmEditor, model: Mapping[str, Any]) -> None:
    """File, forms and judgement are those of the plain tables."""
    farm, found = load(editor.file), build(dict(model))
    assert farm.config == found.config
    texts = editor.texts()
    for table in get_args(Table):
        for name in getattr(farm.config, table):
            page = FormPage(say("a form"), "/farm", form_of(table, name, farm.config, texts.raw))
            for row in rows(page.fields, texts):
                value = written_at(model, row.field.at)
                assert row.value == ("" if value is None else str(value)), row.field.at
    (one, by_file), (other, by_model) = (
        judged(FarmArrays.of(each), timeline()) for each in (farm, found)
    )
    assert np.array_equal(one.status, other.status)
    assert list(by_file.every) == list(by_model.every)


@pytest.mark.long
@settings(max_examples=4)  # each loads and judges the farm some dozen times
@given(edits=st.lists(st.one_of(EDITS, st.none()), min_size=2, max_size=6))
def test_file_form_and_judgement_stay_one(
    tmp_path_factory: pytest.TempPathFactory, edits: list[Edit | None]
) -> None:
    """An edit, or None: the last one that was made is undone."""
    file = written(tmp_path_factory.mktemp("farm"))
    editor = FarmEditor(file, FarmVersions(file.parent / "versions"), SetClock(MORNING))
    models = [watched_tables()]
    for edit in edits:
        running, before = load(file), editor.texts()
        newest = editor.versions.newest()
        if edit is None:
            earlier = newest and editor.versions.before(newest.number)
            if earlier and len(models) > 1:
                editor.save(
                    editor.propose_version(running, earlier), by="driver", label_changed=True
                )
                models = [*models, models[-2]]
        else:
            try:
                made = editor.propose(running, [edit])
            except FarmFileError:
                refused_rightly(running, models[-1], edit)
                assert editor.texts() == before
                continue
            editor.save(made, by="driver", label_changed=True)
            if made.after != made.before:
                models = [*models, applied(models[-1], edit)]
        same(editor, models[-1])


def refused_rightly(running: Any, model: Mapping[str, Any], edit: Edit) -> None:
    """What is refused leads nowhere, is used still, or could never open."""
    assert isinstance(edit, SetValue | Remove)
    if isinstance(edit, Remove):
        table, name = str(edit.at[0]), str(edit.at[1])
        assert table in get_args(Table)
        assert uses_of(running.config, table, name)  # type: ignore[arg-type]
        return
    names = edit.value if isinstance(edit.value, list) else [edit.value]
    tables = {"window": "windows", "products": "products"}
    table = tables.get(str(edit.at[-1]), "")
    unknown = [name for name in names if table and name not in model.get(table, {})]
    assert unknown or edit.at[0] in {"fields", "windows"}
