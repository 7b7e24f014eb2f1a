"""The first page: what to spray now and in which order, and when the rest opens."""

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request, Response

from watcher.i18n.message import Message, Name
from watcher.messages.field_now import nothing_open, silent_wind
from watcher.messages.sources import SourceFinding, findings, heard, state, strange_names
from watcher.messages.weather import source_lines
from watcher.source_view import SourceView
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import farm_says
from watcher.web.open_jobs import OpenJobViewModel, by_field, open_jobs
from watcher.web.pages.air_now import AirViewModel, air_now
from watcher.web.pages.field_choice import (
    FEW,
    FieldGroup,
    FieldPage,
    FieldQuery,
    asked,
    grouped,
    paged,
    searched,
)
from watcher.web.pages.jobs import job_page
from watcher.web.pages.plan import plan_line
from watcher.web.pages.view_models import FieldViewModel, field_view_model

_NEXT = 3
"""So many of many fields come first, before one looks for others."""


@dataclass(frozen=True)
class _SourceCard:
    """One source as the page shows it: its state in a shape and a word, and sentences."""

    name: str
    shape: str
    word: Message
    heard: Message
    findings: list[SourceFinding]
    attribution: str

    @classmethod
    def of(cls, source: SourceView, now: int, zone: ZoneInfo) -> "_SourceCard":
        found = findings(source, now, zone)
        return cls(source.name, *state(source), heard(source), found, source.attribution)

    @property
    def frame(self) -> str:
        """How the state is framed, as of a status of the same shape."""
        return {"●": "s-suitable", "?": "s-unknown"}.get(self.shape, "s-marginal")


def router(context: AppContext) -> APIRouter:
    """Routes of the first page, of the sources, and of what else there is."""
    routes = APIRouter(include_in_schema=False)
    looker, given = Depends(context.auth.looker), Depends(asked)

    @routes.get("/")
    def now(
        request: Request, rest: str = "", what: FieldQuery = given, visitor: Visitor = looker
    ) -> Response:
        snapshot = context.snapshot
        only = None
        with context.watch.transactions.store.reading() as session:
            jobs = open_jobs(context, session)
            if (
                len(jobs) == 1 and not rest and what == FieldQuery()
            ):  # while a job runs, it is what there is to do now
                only = job_page(context, session, jobs[0].number, context.language(request))
        if only is not None:
            return context.show(request, visitor, "job.html", **only)
        of_field = by_field(jobs)
        many = len(snapshot.ranking.every) > FEW
        most = _NEXT if many else None
        return context.show(
            request,
            visitor,
            "now.html",
            under_way=jobs,
            spray=[
                field_view_model(context, seen, of_field) for seen in snapshot.ranking.spray[:most]
            ],
            rest=[]
            if many
            else [field_view_model(context, s, of_field) for s in snapshot.ranking.rest],
            found=_found(context, what, of_field) if many else None,
            asked=what,
            jobs=jobs,
            weather=source_lines(snapshot.timeline),
            air=_air(context),
            plan=plan_line(context),
            nothing_open=nothing_open(snapshot.ranking),
            cause=silent_wind(snapshot.timeline),
            farm_says=farm_says(context),
        )

    @routes.get("/more")
    def more(request: Request, visitor: Visitor = looker) -> Response:
        return context.show(request, visitor, "more.html")

    @routes.get("/sources")
    def sources(request: Request, visitor: Visitor = looker) -> Response:
        health = context.watch.health_now()
        strangers = health.strangers.get("token")
        return context.show(
            request,
            visitor,
            "sources.html",
            health=health,
            farm_says=farm_says(context),
            sources=[
                _SourceCard.of(source, health.at, context.farm.zone) for source in health.sources
            ],
            strangers=strangers and strange_names(strangers, health.at),
        )

    return routes


@dataclass(frozen=True)
class _Found:
    """Of many fields those that were asked for: in groups, the open one page by page."""

    groups: list[FieldGroup]
    shown: FieldPage
    rows: list[FieldViewModel]


def _found(context: AppContext, what: FieldQuery, jobs: Mapping[str, OpenJobViewModel]) -> _Found:
    fields = searched(context, context.snapshot.ranking.every.values(), what.q)
    groups = grouped(context, fields, what.by)
    opened = next((group.fields for group in groups if group.key == what.of), ())
    if what.q and what.of is None:
        opened, groups = fields, []
    shown = paged(opened, what.page)
    return _Found(groups, shown, [field_view_model(context, seen, jobs) for seen in shown.fields])


def _air(context: AppContext) -> tuple[Message, Message, AirViewModel] | None:
    """The air at the boom over the field that comes first: its name, its setup, its numbers."""
    ranking = context.snapshot.ranking
    first = next((seen for seen in (*ranking.spray, *ranking.rest) if seen.setup), None)
    if first is None or first.setup is None:
        return None
    return Name(first.field), Name(first.setup), air_now(context, first.field, first.setup)
