"""What all experiments share: a log to begin with, processes to live in, and the count."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.laboratory import Bench, Tally, bench
from tests.support.story import template as make_template

_TALLY = Tally()


@pytest.fixture(scope="session")
def tally() -> Tally:
    """Counts what was tried; printed when the tests are over."""
    return _TALLY


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with its tables and a fair forecast."""
    return make_template(tmp_path_factory.mktemp("template"))


@pytest.fixture(scope="session")
def template_without_forecast(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with its tables only."""
    return make_template(tmp_path_factory.mktemp("without"), forecast=False)


@pytest.fixture(scope="module")
def workbench(template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Lives experiments in other processes."""
    with bench(template, tmp_path_factory.mktemp("laboratory")) as made:
        yield made


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if _TALLY.found:
        terminalreporter.section("the laboratory: what was tried and what was lost")
        for line in _TALLY.table():
            terminalreporter.write_line(line)
