"""What a page says of one field: its status, one sentence, the margin left, when it opens."""

from collections.abc import Mapping
from dataclasses import dataclass

from markupsafe import Markup

from watcher.i18n.message import Message, Name, Sentence, ShownQuantity, joined, say
from watcher.judge.ranking import FieldNow
from watcher.judge.reasons import Reason
from watcher.limits.status import LimitState, Status
from watcher.messages.chances import holds_line, open_until
from watcher.messages.day_plan import LEFT_OUT
from watcher.messages.field_now import silent_wind, what_ends, when_open
from watcher.messages.vocabulary import STATUS_WORDS, WEED_WORDS
from watcher.messages.words import SHAPES, takes
from watcher.units import Kind
from watcher.web.context import AppContext
from watcher.web.open_jobs import OpenJobViewModel
from watcher.web.svg.headroom_bar import headroom_bar

_WHOLE = 0.995


@dataclass(frozen=True)
class StatusMark:
    """A status as it is shown: a word and a shape."""

    status: Status

    @property
    def style(self) -> str:
        """Its class in the style sheet."""
        return f"s-{self.status.word}"

    @property
    def word(self) -> Message:
        return STATUS_WORDS[self.status]

    @property
    def shape(self) -> str:
        return SHAPES[self.status]


@dataclass(frozen=True)
class LimitLine:
    """One limit as it is shown."""

    stand: LimitState
    sentence: Message
    bar: Markup

    @property
    def style(self) -> str:
        """Its class in the style sheet."""
        return f"l-{self.stand.name.lower()}"


@dataclass(frozen=True)
class FieldViewModel:
    """One field now, in words. Times are on the farm's clock; None where there is none to tell."""

    field: str
    mark: StatusMark
    binding: LimitLine
    setup: Message | None
    takes: Message
    until: Message | None
    """Until when it is open, likely or by the forecast."""
    share: str | None
    can_wait: Message | None
    opens: Message | None
    """When it opens, or that this is not known; None where it is open."""
    ends: Message | None
    """What ends its window."""
    cause: Message | None
    """Why nothing of it is known, where nobody tells the wind."""
    holds: Message | None
    """How likely a job begun now holds, and what that rests on; None where it is not open."""
    about: Message
    """What grows there, how many weeds, how large it is, and its last day."""
    not_planned: Message | None = None
    """Why the plan of the day leaves it out, where it is open."""
    job: OpenJobViewModel | None = None
    """The job that is under way on it: its state is the field's."""

    @property
    def title(self) -> Message:
        return Name(self.field)


def line(context: AppContext, field: str, reason: Reason) -> LimitLine:
    """Show one limit of a field."""
    sentence = Sentence(context.speaker.reason(field, reason), stop="")
    return LimitLine(
        reason.stand, sentence, headroom_bar(reason, context.farm.config.judging.margin)
    )


def about(context: AppContext, field: str) -> Message:
    """Say what a grower knows a field by: crop, weeds, area and last day."""
    plan = context.farm.config.fields[field]
    area = ShownQuantity(context.farm.ground.area_m2(field), Kind.AREA, context.speaker.system)
    found: list[Message] = [
        Name(plan.crop),
        say("weeds: {weeds}", weeds=WEED_WORDS[plan.weeds]),
        area,
    ]
    if plan.latest is not None:
        found.append(say("last day {day}", day=f"{plan.latest:%Y-%m-%d}"))
    return joined(found)


def _not_planned(context: AppContext, seen: FieldNow) -> Message | None:
    plan = context.snapshot.plan
    if plan is None or plan.old or seen.field not in plan.kept.plan.left_out:
        return None
    return LEFT_OUT[plan.kept.plan.left_out[seen.field]]


def field_view_model(
    context: AppContext, seen: FieldNow, jobs: Mapping[str, OpenJobViewModel]
) -> FieldViewModel:
    """Show one field of the ranking. ``jobs`` are the open ones by field."""

    can_spray = seen.status >= Status.MARGINAL
    snapshot = context.snapshot
    judgement = snapshot.judgement.of_field(snapshot.judgement.plan.fields.index(seen.field))
    now = snapshot.timeline.now_index
    return FieldViewModel(
        field=seen.field,
        mark=StatusMark(seen.status),
        binding=line(context, seen.field, seen.binding),
        setup=Name(seen.setup) if seen.setup else None,
        takes=takes(seen.duration_s, seen.left),
        until=open_until(seen.breaks_at, seen.chance, snapshot.timeline.now, context.farm.zone)
        if can_spray and seen.breaks_at is not None
        else None,
        share=f"{seen.share_done:.0%}" if can_spray and seen.share_done < _WHOLE else None,
        can_wait=None if seen.can_wait_until is None else context.clock(seen.can_wait_until),
        opens=None if can_spray else when_open(judgement, seen, now, context.speaker),
        ends=what_ends(judgement, seen) if can_spray else None,
        cause=silent_wind(snapshot.timeline.of(seen.field))
        if seen.status is Status.UNKNOWN
        else None,
        holds=holds_line(seen.chance, snapshot.timeline.now, context.farm.zone)
        if can_spray
        else None,
        about=about(context, seen.field),
        not_planned=_not_planned(context, seen) if can_spray else None,
        job=jobs.get(seen.field),
    )
