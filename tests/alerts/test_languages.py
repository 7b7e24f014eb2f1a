"""Every kind of alert there is can be put into another language whole, with nothing left over."""

import importlib
import pkgutil
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import numpy as np
import pytest

from tests.support.farms import build, tables
from tests.support.foreign import FOREIGN
from tests.support.skies import MORNING, judged, timeline
from watcher import alerts
from watcher.alerts import rules
from watcher.alerts.conditions import Rule
from watcher.alerts.cycle import RULE_GROUPS
from watcher.alerts.rules.job import REMEMBERED
from watcher.farm.models import Origin
from watcher.farm.rules.buffers import Arithmetic, Buffer
from watcher.farm.rules.mix import BufferOf
from watcher.i18n.language import ENGLISH, language
from watcher.i18n.message import Message
from watcher.judge.job_action import Action, JobAction
from watcher.judge.neighbour_deposits import NeighbourDeposit
from watcher.judge.reasons import Reason
from watcher.judge.remedies import Change, ChangeKind, Remedy
from watcher.limits.buffers import LeftStrip
from watcher.limits.catalogue import Limit
from watcher.limits.farm_arrays import FarmArrays
from watcher.limits.status import LimitState
from watcher.messages import brief, day_plan, evening, fields, job, sources, watch, wind_warning
from watcher.messages.forms import SMS_ROOM, Form, shape
from watcher.messages.job import JobPlace
from watcher.messages.reasons import Speaker
from watcher.messages.text import TITLE_ROOM, Text
from watcher.messages.vocabulary import ALERT_WORDS
from watcher.messages.words import ask_seen
from watcher.planning.day_plan import DayPlan, NotPlanned, PlanStep
from watcher.planning.kept_plan import Accepted, Basis, KeptPlan, PlanChanged, PlanNow
from watcher.service.kept_secrets import Secrets
from watcher.source_view import Doubted, SourceView
from watcher.sources.base import Flag
from watcher.store.last_known import Loss, OpenJob
from watcher.store.refused import Refused
from watcher.store.tables import Job, Outgoing

FARM = build(tables())
SPEAKER, PLAN = Speaker(FARM), FarmArrays.of(FARM)
PLACE = JobPlace(
    "creek_side",
    "coarse",
    1800.0,
    holds_again_at=MORNING + 3600,
    breaks_at=MORNING + 7200,
    remedies=(
        Remedy((Change(ChangeKind.TIPS, "fine", takes_s=300.0),), MORNING + 3600, whole=True),
        Remedy((Change(ChangeKind.FIELD, "hill"),), MORNING + 3600, whole=False),
    ),
)
NO_WAY_BACK = replace(PLACE, holds_again_at=None, remedies=())
STRIP = LeftStrip(
    neighbour="orchard",
    required_m=60.0,
    gap_m=10.0,
    depth_m=50.0,
    passes=2,
    area_m2=20_000.0,
    of=BufferOf("product hill", Buffer(protects=("crop",), citation="@@")),
    how=Arithmetic(60.0, (), 60.0),
    gap_counted_m=10.0,
)
JOBS = [Job(field="creek_side"), Job(field="hill")]
OPEN_JOB = OpenJob(id=3, field="hill", setup="coarse", started_at=MORNING - 3600)
LOST = Outgoing(title="@@", body="", caused_at=MORNING - 1200, recipient="operator")
EXPOSED = NeighbourDeposit(
    "orchard", "N", 10.0, 0.7, 0.5, 2.1, 1.0, extrapolated=False, origin=Origin.OWN
)
SOURCE = SourceView(
    "mast",
    1260,
    900.0,
    "@@",
    stuck=("wind_m_s",),
    implausible=("temp_c",),
    ahead=True,
    distrusted=("humidity_pct",),
    disagrees=("pressure_pa",),
    units={},
    doubted=(Doubted("temp_c", 3, 9, Flag.STEP),),
    refused={
        "token": Refused("mast", "token", 2, MORNING, "", ("10.1",)),
        "body": Refused("mast", "body", 2, MORNING, "@@", ()),
    },
)
NOWCAST = SimpleNamespace(
    front=SimpleNamespace(
        **{
            name: np.array([value])
            for name, value in {
                "wind_rise_m_s": 4.0,
                "turn_deg": 70.0,
                "cooling_k": 3.0,
                "pressure_rise_pa": 60.0,
                "wind_rose": True,
                "wind_turned": True,
                "air_cooled": True,
                "pressure_rose": True,
                "warns": True,
            }.items()
        }
    ),
    mean_ahead=SimpleNamespace(chance=np.array([0.42])),
    gust_chance=SimpleNamespace(chance=np.array([0.97]), unknown=np.array([False])),
)


_NAMED = {Limit.INVERSION, Limit.DROPLETS, Limit.DROPLETS_IN_WIND}
"""Limits whose value is a name and no amount."""


def limit(which: Limit, stand: LimitState) -> Reason:
    value = 2.0 if which in _NAMED else 7.0
    return Reason(which, stand, value, 1.0, 6.0, Origin.LABEL, 0.5, ("orchard",), (EXPOSED,))


def doing(action: Action, *causes: Reason, stops: int = 0) -> JobAction:
    return JobAction(action, MORNING, causes, steady_s=1200.0, stops_lately=stops)


def stops() -> list[Text]:
    """Of every limit by itself, above and below its bounds, and of all of them at once."""
    broken = [limit(which, LimitState.BROKEN) for which in Limit]
    low = [replace(reason, value=0.5) for reason in broken if reason.limit not in _NAMED]
    look = timeline(wind_mph=5.0)
    return [
        job.stop(SPEAKER, place, doing(Action.STOP, reason, *broken[:2], stops=stops), look)
        for reason in (*broken, *low)
        for place in (PLACE, NO_WAY_BACK, replace(NO_WAY_BACK, ahead_known=False))
        for stops in (1, 3)
    ]


def cannot_see() -> list[Text]:
    unknown = [limit(which, LimitState.UNKNOWN) for which in Limit]
    look = timeline(wind_mph=np.nan, wind_age_s=900.0)
    return [
        job.cannot_see(SPEAKER, PLACE, doing(Action.CANNOT_SEE, reason, *unknown[:2]), look)
        for reason in unknown
    ]


def get_ready() -> list[Text]:
    wind, gust = (limit(which, LimitState.HOLDS) for which in (Limit.WIND, Limit.GUST))
    ends = [
        wind_warning.ending(SPEAKER, "creek_side", reason, MORNING + 600, MORNING)
        for reason in (limit(which, LimitState.BROKEN) for which in Limit)
    ]
    warnings = [wind_warning.likely(SPEAKER, NOWCAST, wind, gust), *ends]
    return [job.get_ready(PLACE, [warning], timeline()) for warning in warnings]


def of_source(kind: str) -> list[Text]:
    silent = SourceView("mast", None, 900.0)
    late = SourceView("mast", 60, 900.0, clock_ahead_s=-400)
    ahead = SourceView("mast", 60, 900.0, clock_ahead_s=400)
    return [
        sources.wrong(SPEAKER, [(kind, source)], MORNING)
        for source in (SOURCE, silent, late, ahead)
    ]


def of_fields(wording: Callable[..., Text]) -> list[Text]:
    look = timeline(wind_mph=np.where(np.arange(72) >= 1, 9.0, 5.0))
    judgement, ranking = judged(PLAN, look)
    return [wording(SPEAKER, ranking.spray, judgement, look)]


SKIES = (
    {},
    {"wind_mph": 9.0},
    {"wind_mph": 14.0},
    {"wind_mph": np.nan, "gust_mph": np.nan},
    {"wind_mph": np.where(np.arange(72) >= 20, 5.0, 12.0), "gust_mph": 13.0},
    {"cloud_pct": 0.0, "wind_mph": 1.0, "temp_c": 31.0},
)


def planned(*steps: PlanStep, **left_out: NotPlanned) -> KeptPlan:
    basis = Basis((), (), (), 0, "")
    return KeptPlan(DayPlan(MORNING, steps, 1.0, left_out), basis)


def step(field: str, starts_at: int, sprayer: str = "boom") -> PlanStep:
    ends_at = starts_at + 2700
    return PlanStep(
        sprayer,
        field,
        "coarse",
        starts_at,
        ends_at,
        0.7,
        1500.0,
        cleans_out=starts_at > MORNING,
        tips_s=300.0,
        area_m2=160_000.0,
        ended_by=Limit.GUST,
    )


HILL, CREEK = step("hill", MORNING + 1200), step("creek_side", MORNING + 7200)
PLANNED = PlanNow(planned(HILL, CREEK), MORNING)
TURNED = [
    PlanNow(kept, MORNING, accepted=Accepted(planned(HILL, CREEK), MORNING, "driver"))
    for kept in (
        planned(step("creek_side", MORNING), replace(HILL, starts_at=MORNING + 9000)),
        planned(step("creek_side", MORNING), replace(HILL, sprayer="old_boom")),
        planned(step("creek_side", MORNING)),
        *(planned(step("creek_side", MORNING), hill=why) for why in NotPlanned),
        planned(hill=NotPlanned.NO_HOUR),
    )
]


def mornings() -> list[Text]:
    texts = [
        brief.morning_brief(SPEAKER, *judged(PLAN, timeline()), timeline(), due_at=MORNING, plan=p)
        for p in (PLANNED, *TURNED, *(replace(PLANNED, changed=why) for why in PlanChanged))
    ]
    for sky in SKIES:
        look = timeline(**sky)
        judgement, ranking = judged(PLAN, look)
        texts.append(brief.morning_brief(SPEAKER, judgement, ranking, look, due_at=MORNING - 5400))
    return texts


def evenings() -> list[Text]:
    look = timeline(MORNING + 8 * 3600)
    tomorrow = PlanNow(planned(step("hill", MORNING + 86_400)), MORNING + 8 * 3600)
    judgement = judged(PLAN, look)[0]
    texts = [evening.evening_look_ahead(SPEAKER, judgement, look, plan=tomorrow)]
    for sky in SKIES:
        look = timeline(MORNING + 8 * 3600, **sky)
        texts.append(evening.evening_look_ahead(SPEAKER, judged(PLAN, look)[0], look))
    return texts


def _troubles(content: bytes, mode: int) -> list[Message]:
    """What is wrong with a file of secrets of this content, which others may read by its mode."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "secrets.json"
        file.write_bytes(content)
        file.chmod(mode)
        return Secrets(file, now=MORNING).troubles


def losses() -> list[Text]:
    common = {"found_at": MORNING, "watched_until": MORNING - 1920, "known_until": MORNING - 7200}
    return [
        watch.log_lost(
            SPEAKER,
            Loss(trouble=trouble, jobs=jobs, over=(OPEN_JOB,), aside=aside, **common),
            MORNING,
        )
        for trouble in ("damaged", "missing", "emptied", "another", "older")
        for jobs in (None, (OPEN_JOB,))
        for aside in (None, "@@")
    ]


TEXTS: dict[str, Callable[[], list[Text]]] = {
    "stop": stops,
    "cannot see": cannot_see,
    "get ready": get_ready,
    "all clear": lambda: [
        job.all_clear(SPEAKER, place, why, timeline())
        for why in (job.inside_for(600.0), job.SEES_AGAIN, job.DID_NOT_COME)
        for place in (PLACE, replace(PLACE, breaks_at=None))
    ],
    "job forgotten": lambda: [
        job.forgotten(SPEAKER, PLACE, over_s=2400.0, now=MORNING),
        job.left_paused(SPEAKER, PLACE, paused_at=MORNING - 86_400, now=MORNING),
    ],
    "strip to leave": lambda: [
        job.strips_turned(SPEAKER, "creek_side", new, over)
        for new, over in (([STRIP], []), ([STRIP], ["orchard"]), ([], ["orchard"]))
    ],
    "retardant worn": lambda: [job.retardant_worn(PLACE, tank_age_s=3660.0)],
    "job not watched": lambda: [
        job.unwatched("hill", "@@"),
        job.not_acknowledged(job.unwatched("hill", "@@"), "operator", 300.0),
    ],
    **{
        f"source {what}": lambda what=what: of_source(f"source {what}")
        for what in ("silent", "stuck", "implausible", "clock ahead", "distrusted", "disagrees")
    },
    "source back": lambda: [sources.back(["mast"])],
    "recipient unreachable": lambda: [
        watch.unreachable("operator", "@@"),
        watch.unreachable("operator", ""),
    ],
    "field open": lambda: of_fields(fields.opening),
    "field closing": lambda: of_fields(fields.closing),
    "next step due": lambda: [day_plan.next_step(SPEAKER, PLANNED, s) for s in PLANNED.steps],
    "plan changed": lambda: [
        day_plan.plan_changed(SPEAKER, turned, judged(PLAN, timeline(**sky))[1])
        for sky in SKIES
        for turned in TURNED
    ],
    "morning brief": mornings,
    "evening look-ahead": evenings,
    "watch was down": lambda: [
        watch.was_down(
            SPEAKER, MORNING - 1920, MORNING, crashed=crashed, jobs=JOBS, lost=[LOST] * count
        )
        for crashed in (True, False)
        for count in (1, 7, 9)
    ],
    "watch stops": lambda: [watch.stopping(JOBS), watch.stopping_blind("@@")],
    "watch has a fault": lambda: [watch.faulty(sorted(group.KINDS), "@@") for group in RULE_GROUPS],
    "log lost": losses,
    "farm file mistaken": lambda: [
        watch.farm_mistaken(SPEAKER, ["@@"] * 5, MORNING - 86_400, MORNING),
        watch.not_started(["@@"] * 5),
    ],
    "secrets lost": lambda: [watch.secrets_troubled(_troubles(b"{", 0o644))],
    "secrets seen by others": lambda: [watch.secrets_troubled(_troubles(b"{}", 0o644))],
    "clock jumped": lambda: [
        text
        for by_s in (-86_400.0, 3600.0)
        for text in (watch.clock_jumped(by_s), watch.clock_doubted(by_s))
    ],
    "time unknown": lambda: [watch.time_unknown(0.0), watch.time_unknown(-86_400.0)],
    "watch cannot judge": lambda: [watch.cannot_judge(SPEAKER, "@@", MORNING - 60, MORNING)],
    "watch cannot write": lambda: [
        watch.cannot_write(SPEAKER, "@@", blind_since=since, now=MORNING)
        for since in (None, MORNING - 600)
    ],
    "watch sees again": lambda: [
        watch.sees_again(SPEAKER, MORNING, blind_since=blind, unwritten_since=unwritten)
        for blind, unwritten in ((None, MORNING - 600), (MORNING - 600, None))
    ],
}
"""The texts of every kind of alert, in every way it is worded."""


def kinds() -> set[str]:
    """The kinds of all rules of the program that are told."""
    modules = [
        importlib.import_module(f"{package.__name__}.{module.name}")
        for package in (alerts, rules)
        for module in pkgutil.iter_modules(package.__path__)
    ]
    every = {v.kind for m in modules for v in vars(m).values() if isinstance(v, Rule)}
    return every - REMEMBERED


def test_every_kind_of_alert_is_looked_at_here() -> None:
    assert set(TEXTS) == kinds()


def test_what_rule_groups_look_after_has_a_name_in_words() -> None:
    assert set(ALERT_WORDS) == set().union(*(group.KINDS for group in RULE_GROUPS))


# Names of the invented farm, and units, which are the same everywhere.
_THE_SAME = re.compile(
    r"\b(creek side|creek si?|creek|hill|mast|orchard|operator|coarse|fine|open meteo)\b"
    r"|\b(old boom|boom)\b"
    r"|\b(in/h|(?<=\d )in|mph|ft|acre|gal|hPa|h|F)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("kind", sorted(TEXTS))
def test_nothing_of_an_alert_is_left_in_english(kind: str) -> None:
    for text in TEXTS[kind]():
        words = text.render(FOREIGN)
        for line in (words.title, *words.lines, *words.more):
            assert not re.search("[A-Za-z]", _THE_SAME.sub("", line)), line


@pytest.mark.parametrize("form", ["push", "mail", "sms"])
@pytest.mark.parametrize("kind", sorted(TEXTS))
def test_an_alert_in_spanish_has_room_where_it_is_read(kind: str, form: Form) -> None:
    spanish = language("es")
    for text in TEXTS[kind]():
        ask = ask_seen("https://farm.example/seen/K7QM2.operator.abcdefghijkl", form)
        shaped = shape(text, form, spanish, ref="K7QM2", ask=ask)
        assert len(shaped.title) <= TITLE_ROOM
        assert form != "sms" or len(shaped.body) <= SMS_ROOM
        assert text.render(spanish) != text.render(ENGLISH)
