"""``watcher log import-forecasts``: what is asked for, what is refused, what is said."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import Result

from tests.cli.conftest import HOUR, NOW
from watcher.sources.base import Observations
from watcher.store import weather
from watcher.store.database import Database
from watcher.weather.series import Site, WeatherSeries

DAY = 24 * HOUR
COLUMN = ("--run", "run", "--time", "hour", "--column", "wind=W:mph")


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    """A run of four days, eight days ago."""
    file = tmp_path / "archive.csv"
    run = NOW - 8 * DAY
    times = (datetime.fromtimestamp(run + hour * HOUR, UTC).isoformat() for hour in range(96))
    began = datetime.fromtimestamp(run, UTC).isoformat()
    file.write_text("run,hour,W\n" + "".join(f"{began},{time},8\n" for time in times))
    return file


def test_it_is_kept_beside_what_was_measured(
    command: Callable[..., Result], tmp_path: Path, archive: Path
) -> None:
    done = command("log", "import-forecasts", str(archive), "--feed", "forecast", *COLUMN)
    assert done.exit_code == 2
    assert "import its readings first" in " ".join(done.output.split())

    times = np.arange(NOW - 9 * DAY, NOW - 4 * DAY, 600)
    site = Site(41.6312, -96.9257, 400.0, wind_height_m=3.048, temp_height_m=1.524)
    series = WeatherSeries.of(times, site, "yard", {"wind_m_s": np.full(times.size, 3.0)})
    log = Database(f"sqlite:///{tmp_path / 'watch.db'}")
    with log.writing() as session:
        weather.add_observations(session, Observations(series), NOW)
    log.close()
    done = command("log", "import-forecasts", str(archive), "--feed", "forecast", *COLUMN)
    assert done.exit_code == 0, done.output
    assert "past forecasts of forecast kept beside what yard measured." in done.output


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--feed", "barn"), "no source 'barn'"),
        (("--feed", "forecast", "--station", "barn"), "no station 'barn'"),
        (("--feed", "forecast", "--column", "wind"), "--column wind is not like"),
        (("--feed", "forecast", "--column", "wind=W:degC"), "--column wind=W:degC"),
        (("--feed", "forecast", "--run", "started"), "no 'started'"),
    ],
)
def test_what_it_cannot_use_is_told(
    command: Callable[..., Result], archive: Path, options: tuple[str, ...], said: str
) -> None:
    done = command("log", "import-forecasts", str(archive), *COLUMN, *options)
    assert done.exit_code == 2
    assert said in done.output


def test_a_file_that_is_not_there_is_told(command: Callable[..., Result]) -> None:
    done = command("log", "import-forecasts", "nowhere.csv", "--feed", "forecast", *COLUMN)
    assert done.exit_code == 2
    assert "there is no file nowhere.csv" in done.output
