"""Who uses an entry: nobody who would be left without is passed over."""

from pathlib import Path

import pytest

from watcher.farm.editing.edits import Remove, edited
from watcher.farm.editing.texts import FarmTexts
from watcher.farm.editing.uses import Table, uses_of
from watcher.farm.problems import FarmFileError


@pytest.fixture(scope="module")
def texts(example_path: Path) -> FarmTexts:
    return FarmTexts.of_files(example_path)


@pytest.mark.parametrize("table", ["sprayers", "setups", "windows", "products"])
def test_what_nobody_uses_can_be_taken_out_and_nothing_else(texts: FarmTexts, table: Table) -> None:
    config = texts.load().config
    for name in getattr(config, table):
        used = uses_of(config, table, name)
        after = edited(texts, [Remove((table, name))])
        if not used:
            after.load()
            continue
        with pytest.raises(FarmFileError) as refused:
            after.load()
        said = str(refused.value)
        for of, by in used:
            assert f"{of}.{by}" in said, (table, name)
