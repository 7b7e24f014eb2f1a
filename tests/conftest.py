"""Fixtures every room's tests may use."""

from pathlib import Path

import pytest
from hypothesis import settings

from watcher.farm import Farm
from watcher.farm.load import load

pytest_plugins = ["tests.support.logs"]
"""Logs on each database."""

# A run says the same each time; ``--hypothesis-profile=searching`` looks for examples anew.
settings.register_profile("repeatable", derandomize=True)
settings.register_profile("searching", derandomize=False)
settings.load_profile("repeatable")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def shared() -> Path:
    """The reference material beside the repository; tests that read it skip without it."""
    folder = ROOT.parent / "shared"
    if not folder.is_dir():
        pytest.skip(f"no reference material at {folder}")
    return folder


@pytest.fixture(scope="session")
def example_path() -> Path:
    """The invented farm that ships with the program."""
    return ROOT / "config" / "farm.toml"


@pytest.fixture(scope="session")
def example_farm(example_path: Path) -> Farm:
    """The invented farm, loaded."""
    return load(example_path)
