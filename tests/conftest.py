"""Fixtures every room's tests may use."""

import importlib
import logging
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
import structlog
from hypothesis import HealthCheck, settings

from tests.support import beside_another_farm
from watcher.farm import Farm
from watcher.farm.load import load

pytest_plugins = ["tests.support.logs"]
"""Logs on each database."""

# A run says the same each time. The everyday one tries few examples, CI (``thorough``) more, and
# ``searching`` looks for others. No example has a deadline: a loaded machine fails nothing.
_ANY_SPEED = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
settings.register_profile("everyday", derandomize=True, max_examples=25, **_ANY_SPEED)
settings.register_profile("thorough", derandomize=True, **_ANY_SPEED)
settings.register_profile("searching", derandomize=False, **_ANY_SPEED)
settings.load_profile("everyday")

# Tables and colours are those of no terminal, whichever one the tests were started from.
for _said_by_a_terminal in ("TERM", "COLUMNS", "LINES", "FORCE_COLOR", "TTY_COMPATIBLE"):
    os.environ.pop(_said_by_a_terminal, None)
# A console that is made while a test has set a width keeps it for all tests behind.
importlib.import_module("watcher.cli.context")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--beside-another-farm",
        action="store_true",
        help="every log is shared with another farm, of equal names, that has been at work",
    )


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--beside-another-farm"):
        beside_another_farm.begin()


ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(autouse=True)
def _own_log_set_up() -> Iterator[None]:
    """What a test does to the program's own log is undone: the next one reads what it wrote."""
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    watched = logging.getLogger("watcher").level
    yield
    structlog.reset_defaults()
    logging.disable(logging.NOTSET)
    root.handlers[:] = handlers
    root.setLevel(level)
    logging.getLogger("watcher").setLevel(watched)


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
