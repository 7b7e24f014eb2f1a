"""Every rule of the alerts with its times: how long it waits, how often it is said, how long it is
worth delivering. Choices of this program, no source; a rule that is not here fails the test."""

import importlib
import pkgutil
from typing import NamedTuple

import pytest

import watcher.alerts
from watcher.alerts.conditions import Rule, Urgency
from watcher.farm.models import Topic

NOW, SOON = Urgency.NOW, Urgency.SOON
JOB, BRIEF, SOURCES = Topic.JOB, Topic.BRIEF, Topic.SOURCES
H = 60
D = 24 * H


class Times(NamedTuple):
    """Minutes: worth delivering for, raised after, cleared after, said again every."""

    worth: int
    raised: int = 0
    cleared: int = 0
    again: int | None = None
    escalates: bool = False
    overtakes: bool = False


RULES: dict[tuple[str, Topic, Urgency], set[Times]] = {
    ("stop", JOB, NOW): {Times(2 * H, escalates=True)},
    ("cannot see", JOB, NOW): {Times(2 * H, escalates=True)},
    ("get ready", JOB, NOW): {Times(10)},
    ("all clear", JOB, NOW): {Times(H, overtakes=True)},
    ("limit broken", JOB, NOW): {Times(2 * H)},
    ("limit unknown", JOB, NOW): {Times(2 * H, cleared=1)},
    ("stopped lately", JOB, NOW): {Times(H, cleared=20)},
    ("wind likely over", JOB, NOW): {Times(10, cleared=10)},
    ("ends soon", JOB, NOW): {Times(10, cleared=10)},
    ("strip to leave", JOB, NOW): {Times(2 * H, raised=2, cleared=20)},
    ("job forgotten", JOB, SOON): {Times(2 * H, again=2 * H), Times(2 * H)},
    ("retardant worn", JOB, NOW): {Times(H)},
    ("job not watched", JOB, NOW): {Times(2 * H, again=30, escalates=True)},
    ("next step due", JOB, SOON): {Times(35, cleared=H)},
    ("plan changed", JOB, SOON): {Times(2 * H, raised=2, cleared=10)},
    ("field open", BRIEF, SOON): {Times(H, raised=5, cleared=30)},
    ("field closing", BRIEF, SOON): {Times(30, cleared=30)},
    ("morning brief", BRIEF, SOON): {Times(3 * H)},
    ("evening look-ahead", BRIEF, SOON): {Times(3 * H)},
    ("recipient unreachable", SOURCES, SOON): {Times(6 * H, cleared=10, again=D)},
    ("recipient unreachable", JOB, NOW): {Times(H, cleared=10, again=30)},
    ("source silent", SOURCES, SOON): {Times(6 * H, raised=5, cleared=5, again=12 * H)},
    ("source stuck", SOURCES, SOON): {Times(6 * H, cleared=H, again=12 * H)},
    ("source implausible", SOURCES, SOON): {Times(6 * H, cleared=H, again=12 * H)},
    ("source clock ahead", SOURCES, SOON): {Times(6 * H, cleared=H, again=12 * H)},
    ("source distrusted", SOURCES, SOON): {Times(6 * H, cleared=H, again=12 * H)},
    ("source disagrees", SOURCES, SOON): {Times(6 * H, raised=2 * H, cleared=2 * H, again=12 * H)},
    ("source back", SOURCES, SOON): {Times(6 * H, again=12 * H)},
    ("watch was down", SOURCES, SOON): {Times(12 * H)},
    ("watch was down", JOB, NOW): {Times(2 * H)},
    ("watch stops", JOB, NOW): {Times(2 * H)},
    ("watch has a fault", SOURCES, SOON): {Times(12 * H)},
    ("watch has a fault", JOB, NOW): {Times(H)},
    ("log lost", SOURCES, SOON): {Times(12 * H)},
    ("log lost", JOB, NOW): {Times(12 * H)},
    ("farm file mistaken", SOURCES, SOON): {Times(D)},
    ("secrets seen by others", SOURCES, SOON): {Times(D)},
    ("secrets lost", SOURCES, NOW): {Times(D)},
    ("clock jumped", JOB, NOW): {Times(H)},
    ("time unknown", SOURCES, SOON): {Times(12 * H)},
    ("time unknown", JOB, NOW): {Times(2 * H)},
    ("watch cannot judge", JOB, NOW): {Times(H, again=30, escalates=True)},
    ("watch cannot write", JOB, NOW): {Times(H, again=30, escalates=True)},
    ("watch sees again", JOB, NOW): {Times(H, overtakes=True)},
}


def of(rule: Rule) -> Times:
    again = rule.repeat_after_s
    return Times(
        rule.expires_after_s // 60,
        rule.raise_after_s // 60,
        rule.clear_after_s // 60,
        None if again is None else again // 60,
        rule.escalates,
        rule.overtakes,
    )


def every_rule() -> list[Rule]:
    """Those that are constants of a module of the alerts."""
    names = [m.name for m in pkgutil.walk_packages(watcher.alerts.__path__, "watcher.alerts.")]
    found = [vars(importlib.import_module(name)).values() for name in names]
    return [member for members in found for member in members if isinstance(member, Rule)]


@pytest.mark.parametrize("case", RULES, ids=lambda case: f"{case[0]}, {case[1]}")
def test_a_rule_has_its_times(case: tuple[str, Topic, Urgency]) -> None:
    alike = [r for r in every_rule() if (r.kind, r.topic, r.urgency) == case]
    assert {of(rule) for rule in alike} == RULES[case]
    for rule in alike:
        times = rule.expires_after_s, rule.raise_after_s, rule.clear_after_s
        assert all(time % 60 == 0 for time in times)


def test_no_rule_is_forgotten() -> None:
    assert {(r.kind, r.topic, r.urgency) for r in every_rule()} == set(RULES)
