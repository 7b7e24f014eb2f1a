"""The end of the first visit: every question, what is still to be answered, what is not judged."""

import re
from collections.abc import Sequence
from typing import Any

from watcher.farm.problems import FarmFileError, Problem
from watcher.i18n.message import Message, Name, joined, say
from watcher.web.first_visit import screens
from watcher.web.first_visit.visit import FirstVisit
from watcher.web.pages.farm_form import of_mistakes

_WINDOW_OF_FIELD = re.compile(r"fields\.[^.]+\.window\b")
_ANSWERED = ("✓", say("answered"))
_NEEDED = ("○", say("needed"))
_LATER = ("…", say("for later"))


def missing(visit: FirstVisit) -> list[tuple[str, Problem]]:
    """Return what must still be entered or mended, with the screen where that is done."""
    found = list(visit.farm.problems())
    if not found:
        try:
            farm = visit.farm.whole().load()
        except FarmFileError as error:
            found = list(error.problems)
        else:
            mend = say("change the settings of the watch, then start it again")
            found = [Problem(visit.farm.file, "", wrong, mend) for wrong in visit.unfit(farm)]
    if not visit.farm.raw.get("fields"):
        found = [p for p in found if screens.step_of(p) != "crop"]
    if not visit.farm.raw.get("windows"):  # which is said of the label, once
        found = [p for p in found if not _WINDOW_OF_FIELD.match(str(p.key))]
    return [(screens.step_of(p) if p.key else "", p) for p in found]


def shown(visit: FirstVisit) -> dict[str, Any]:
    """Return what the page of the end holds."""
    lacks, fields = missing(visit), list(visit.farm.raw.get("fields", {}))
    questions = []
    for step in screens.STEPS:
        if step.key == "sides" and not fields:
            continue
        own = [p for key, p in lacks if key == step.key]
        state = _ANSWERED if screens.is_answered(step.key, visit.farm) else _LATER
        if step.key == "phone":
            state = _LATER if _nobody_hears(visit) else _ANSWERED
        if own or (step.key == "field" and not fields):
            state = _NEEDED
        query = f"?field={fields[0]}" if step.key == "sides" else ""
        questions.append((step, state, [_line(visit, step.key, p) for p in own], query))
    return {
        "steps": questions,
        "settings": of_mistakes([p for key, p in lacks if not key]),
        "not_judged": [*screens.not_judged(visit.farm), *_nobody_hears(visit)],
        "ready": bool(not lacks and fields),
        "trouble": None,
    }


def _line(visit: FirstVisit, step: str, problem: Problem) -> Message:
    """Say what is wrong in the words of the screen that asks for it, not by the file's key."""
    path = str(problem.key).split(".")
    if len(path) == 1:
        return say("nothing is answered yet")
    of = path[1] if path[0] in {"fields", "neighbours"} else ""
    asked = screens.fields_of(step, visit.farm, of)
    # The crop is asked about once, for every field there is.
    below = path[2:] if path[0] == "fields" else path
    skipped = 2 if path[0] == "fields" else 0
    own = [f for f in asked if [str(k) for k in f.at][skipped:][: len(below)] == below]
    if not own:
        return of_mistakes([problem])[0]
    names: Sequence[Name] = [Name(of)] if len(visit.farm.raw.get("fields", {})) > 1 and of else []
    said = joined([*names, own[0].label, problem.wrong], ": ")
    return said if problem.wrong == screens.MISSING else joined([said, problem.mend], "; ")


def _nobody_hears(visit: FirstVisit) -> list[Message]:
    """Say so where neither a device nor a push address would hear of anything."""
    hears = visit.auth.sessions.devices or visit.farm.raw.get("recipients")
    return [] if hears else [say("Nobody is told: what is so stands on these pages only")]
