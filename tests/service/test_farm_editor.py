"""The one writer: what it refuses, keeps, undoes, and notices of a hand with an editor."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.support.farm_files import written
from tests.support.running import SetClock
from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.load import load
from watcher.farm.problems import FarmFileError
from watcher.i18n.message import say
from watcher.service.farm_editor import FarmEditor, FarmProposal, LoosensError, OutdatedError
from watcher.service.farm_versions import FarmVersions

NOON = 1_781_107_200
CLEAN = SetValue(("fields", "creek_side", "weeds"), "clean")
WEEDY = SetValue(("fields", "creek_side", "weeds"), "weedy")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(tmp_path)


@pytest.fixture
def editor(file: Path) -> FarmEditor:
    return FarmEditor(file, FarmVersions(file.parent / "versions"), SetClock(NOON))


def propose(editor: FarmEditor, *edits: Edit, based_on: str | None = None) -> FarmProposal:
    return editor.propose(editor.texts().load(), edits, based_on=based_on)


def test_what_is_saved_is_in_the_file_with_who_and_when(editor: FarmEditor, file: Path) -> None:
    version = editor.save(propose(editor, CLEAN), by="driver")
    assert load(file).config.fields["creek_side"].weeds.value == "clean"
    assert file.read_text().startswith("# My farm (invented).\n")
    assert (version.by, version.at) == ("driver", NOON)
    first = editor.versions.before(version.number)
    assert first is not None
    assert first.texts.load().config.fields["creek_side"].weeds.value == "moderate"


def test_nothing_is_written_that_the_check_refuses(editor: FarmEditor, file: Path) -> None:
    before = file.read_text()
    with pytest.raises(FarmFileError, match=r"(?s)fields.creek_side.window.*did you mean"):
        propose(editor, SetValue(("fields", "creek_side", "window"), "contakt"))
    assert file.read_text() == before
    assert editor.versions.numbers() == []


def test_a_label_out_of_date_is_refused_and_an_old_one_hinders_nothing(
    editor: FarmEditor, file: Path
) -> None:
    label = {"name": "A (invented)", "registration": "0", "valid_until": "2020-01-01"}
    old = SetValue(("products", "a"), label)
    with pytest.raises(FarmFileError, match="no longer valid"):
        propose(editor, old, SetValue(("fields", "hill", "products"), ["a"]))
    file.write_text(
        file.read_text().replace(
            "[sources",
            '[products.a]\nname="A"\nregistration="0"\nvalid_until=2020-01-01\n[sources',
            1,
        )
    )
    propose(editor, CLEAN)


def test_what_does_not_fit_the_settings_is_refused(file: Path) -> None:
    editor = FarmEditor(
        file,
        FarmVersions(file.parent / "versions"),
        SetClock(NOON),
        lambda farm: [] if "grower" in farm.config.recipients else [say("no URL")],
    )
    with pytest.raises(FarmFileError, match="no URL"):
        propose(editor, Remove(("recipients", "grower")))


def test_of_two_edits_at_once_the_second_sees_the_first(editor: FarmEditor) -> None:
    seen = editor.texts().etag
    mine, theirs = propose(editor, CLEAN, based_on=seen), propose(editor, WEEDY, based_on=seen)
    editor.save(mine, by="driver")
    with pytest.raises(OutdatedError) as late:
        editor.save(theirs, by="boss")
    assert late.value.last is not None
    assert late.value.last.by == "driver"
    with pytest.raises(OutdatedError):
        propose(editor, WEEDY, based_on=seen)


def test_a_label_is_loosened_only_by_who_says_that_it_changed(editor: FarmEditor) -> None:
    looser = propose(editor, SetValue(("windows", "contact", "wind", "high"), "12 mph"))
    with pytest.raises(LoosensError, match=r"windows.contact.wind.high"):
        editor.save(looser, by="boss")
    version = editor.save(looser, by="boss", label_changed=True)
    assert version.loosened == ("windows.contact.wind.high",)


def test_a_file_that_cannot_be_written_says_what_to_do(
    editor: FarmEditor, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_args: object, **_more: object) -> None:
        raise PermissionError(13, "Permission denied", str(file))

    monkeypatch.setattr("watcher.service.farm_editor.write_whole", refuse)
    with pytest.raises(FarmFileError, match="let the watch write to this file"):
        editor.save(propose(editor, CLEAN), by="driver")


def test_a_change_is_undone_by_the_version_before(editor: FarmEditor, file: Path) -> None:
    before = file.read_text()
    version = editor.save(propose(editor, CLEAN), by="driver")
    earlier = editor.versions.before(version.number)
    assert earlier is not None
    running = editor.texts().load()
    editor.save(editor.propose_version(running, earlier), by="driver")
    assert file.read_text() == before
    assert len(editor.versions.numbers()) == 3


def test_a_hand_is_noticed_once_its_file_stands_still(editor: FarmEditor, file: Path) -> None:
    assert editor.noticed() is None
    file.write_text(file.read_text().replace('weeds = "clean"', 'weeds = "weedy"'))
    assert editor.noticed() is None  # an editor may still be writing
    found = editor.noticed()
    assert found is not None
    assert found.farm is not None
    assert found.farm.config.fields["hill"].weeds.value == "weedy"
    assert editor.noticed() is None


def test_a_mistake_of_a_hand_is_named_with_its_mend(editor: FarmEditor, file: Path) -> None:
    file.write_text(file.read_text().replace('weeds = "clean"', 'weeds = "claen"'))
    editor.noticed()
    found = editor.noticed()
    assert found is not None
    assert found.farm is None
    assert 'did you mean "clean"?' in str(found.mistakes[0])


def test_its_own_writing_is_no_hand(editor: FarmEditor) -> None:
    editor.save(propose(editor, CLEAN), by="driver")
    assert [editor.noticed(), editor.noticed()] == [None, None]


FIELDS = st.sampled_from(["creek_side", "hill"])
EDITS = st.one_of(
    st.builds(
        lambda f, w: SetValue(("fields", f, "weeds"), w),
        FIELDS,
        st.sampled_from(["clean", "moderate", "weedy"]),
    ),
    st.builds(
        lambda f, n: SetValue(("fields", f, "canopy"), f"{n} in"), FIELDS, st.integers(1, 60)
    ),
    st.builds(
        lambda f, d: SetValue(("fields", f, "latest"), f"2026-07-{d:02d}"),
        FIELDS,
        st.integers(1, 31),
    ),
    st.builds(lambda f: Remove(("fields", f, "latest")), FIELDS),
    st.builds(
        lambda f, n: SetValue(("fields", f, "limits", "wind", "high"), f"{n} mph"),
        FIELDS,
        st.integers(6, 10),
    ),
    st.builds(lambda f: Remove(("fields", f, "limits")), FIELDS),
    st.builds(
        lambda n: SetValue(("recipients", f"helper_{n}"), {"hears": ["job"]}), st.integers(1, 3)
    ),
    st.builds(lambda n: Remove(("recipients", f"helper_{n}")), st.integers(1, 3)),
    st.builds(
        lambda n: SetValue(("windows", "contact", "humidity"), {"low": f"{n} %"}),
        st.integers(10, 60),
    ),
    st.builds(lambda: Remove(("windows", "contact", "humidity"))),
)


@settings(max_examples=5)  # each loads the farm some twenty times
@given(edits=st.lists(EDITS, min_size=1, max_size=5))
def test_any_edits_and_their_undoing_lead_back_to_the_same_farm(
    tmp_path_factory: pytest.TempPathFactory, edits: list[Edit]
) -> None:
    """Random edits: the file says what was asked, and every version can be gone back to."""
    file = written(tmp_path_factory.mktemp("farm"))
    editor = FarmEditor(file, FarmVersions(file.parent / "versions"), SetClock(NOON))
    start, seen = editor.texts(), [editor.texts()]
    for edit in edits:
        made = propose(editor, edit)
        editor.save(made, by="driver")
        assert editor.texts() == made.after
        assert load(file) == made.farm
        if made.after != made.before:
            seen.append(made.after)
    while (version := editor.versions.newest()) and editor.texts() != start:
        seen.pop()
        earlier = next(
            v
            for n in editor.versions.numbers()
            if (v := editor.versions.one(n)) and v.texts == seen[-1]
        )
        editor.save(editor.propose_version(load(file), earlier), by=version.by, label_changed=True)
        assert editor.texts() == seen[-1]
    assert FarmTexts.of_files(file) == start
