"""One field with one setup at one time, drawn: deposit by distance, stability through the day."""

from pathlib import Path

from watcher.charts.deposit import distances_m, draw_deposit
from watcher.charts.stability import draw_stability
from watcher.charts.style import check, keep, sheet
from watcher.judge.judgement import Judgement
from watcher.judge.neighbour_deposits import downwind_curve, neighbour_deposits
from watcher.messages.explain import headline_of
from watcher.messages.reasons import Speaker


def draw_field(
    file: Path, speaker: Speaker, judgement: Judgement, case: tuple[int, int, int], now: int
) -> None:
    """Draw a case into a file, PNG or SVG by its name; ``CannotDrawError`` says why not."""
    check(file)
    figure, (top, bottom) = sheet((4.4, 3.4), str(headline_of(speaker, judgement, case, now)))
    found = neighbour_deposits(judgement, *case)
    curve = downwind_curve(judgement, *case, distances_m(found))
    draw_deposit(top, curve, found, speaker.system)
    at = int(judgement.series.times[case[2]])
    draw_stability(bottom, judgement, at, speaker.farm.zone)
    keep(figure, file)
