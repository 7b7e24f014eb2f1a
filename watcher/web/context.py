"""What every page is made with: the watch, the log-in, the templates, and the moment shown."""

import secrets
from dataclasses import dataclass, field
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from watcher.delivery.web_push import WebPush
from watcher.farm import Farm
from watcher.i18n.language import Language, accepted
from watcher.i18n.message import WallTime
from watcher.judge.chances import FarmChances
from watcher.messages.reasons import Speaker
from watcher.planning.kept_plan import PlanNow
from watcher.service.day_plan import closed, plan_now
from watcher.service.kept_secrets import SecretKind
from watcher.service.secrets_in_use import SecretsInUse
from watcher.service.snapshot import Snapshot
from watcher.service.watch import Watch
from watcher.sources.tile_address import MapPictures
from watcher.store.errors import LogError
from watcher.web.auth.authenticator import Authenticator, Visitor
from watcher.web.auth.users import Role
from watcher.web.open_jobs import OpenJobViewModel, open_jobs
from watcher.web.renderer import Renderer

TILES_AT = "/map/tiles"
"""Where pages ask for pictures of the ground."""
OLD_AFTER_S = 120
"""A judgement older than this is not shown without saying so: the watch judges every 30 s."""


_MOST_DIGITS = 9


class NothingJudgedError(Exception):
    """The watch has not judged yet: there is nothing to show."""


def _saved(request: Request) -> int | None:
    """The version of the farm that a page follows on, as its address says."""
    number = request.query_params.get("saved", "")
    return int(number) if number.isdecimal() and len(number) <= _MOST_DIGITS else None


@dataclass(frozen=True)
class AppContext:
    """Built once, with the application."""

    watch: Watch
    auth: Authenticator
    pushes: WebPush | None
    """The way to devices; None where nothing is pushed."""
    secrets: SecretsInUse
    """What recipients, stations and feeds are reached with."""
    address: str = ""
    """Where the pages are reached from outside, as the settings have it; empty where not set."""
    pictures: MapPictures | None = None
    """Where pictures of the ground come from; None where none are set."""
    renderer: Renderer = field(default_factory=Renderer)

    @property
    def tiles_from(self) -> tuple[str, int] | None:
        """Where a map asks for its pictures, and their greatest zoom; None where there are none."""
        return (TILES_AT, self.pictures.greatest_zoom) if self.pictures else None

    @property
    def farm(self) -> Farm:
        """The farm of the newest judgement, which is the one pages show."""
        snapshot = self.watch.snapshot
        return (
            self.watch.transactions.plan.farm if snapshot is None else snapshot.judgement.plan.farm
        )

    @property
    def speaker(self) -> Speaker:
        """Words for that farm."""
        known, farm = self.watch.transactions.post.speaker, self.farm
        return known if known.farm is farm else Speaker(farm)

    @property
    def snapshot(self) -> Snapshot:
        """The newest judgement. Raises NothingJudgedError before the first one."""
        if self.watch.snapshot is None:
            raise NothingJudgedError
        return self.watch.snapshot

    def reached(self, recipient: str) -> bool:
        """Return whether a recipient has a push address."""
        return self.secrets.known.secret(SecretKind.PUSH, recipient) is not None

    @property
    def chances(self) -> FarmChances:
        """How likely jobs hold, as last worked out; of nothing where that is too long ago."""
        keeper, now = self.watch.chances, self.watch.clock.now()
        if keeper is None or keeper.latest is None or keeper.latest.old(now):
            return FarmChances(now)
        return keeper.latest.with_rigs(self.snapshot.rigs)

    def plan(self) -> PlanNow | None:
        """Return the plan of the day as it stands now; None where there is none.

        Raises LogError, and NothingJudgedError before the first judgement.
        """
        ranking, now = self.snapshot.ranking, self.watch.clock.now()
        with self.watch.transactions.store.reading() as session:
            return closed(plan_now(session, self.farm, now), ranking)

    @property
    def old(self) -> bool:
        """Whether the watch has not judged for so long that nothing shown must be relied on."""
        at = self.watch.judged_at
        return at is None or self.watch.clock.now() - at > OLD_AFTER_S

    def clock(self, at: int) -> WallTime:
        """Return an instant on the farm's clock, as seen from now."""
        return WallTime(at, self.watch.clock.now(), self.farm.zone)

    def language(self, request: Request) -> Language:
        """Return the language of a reader: what their browser asks for, else the farm's."""
        return accepted(request.headers.get("accept-language", "")) or self.farm.language

    def _jobs_under_way(self) -> list[OpenJobViewModel]:
        """Every open job in its state; none while the log cannot be read, of which others tell."""
        try:
            with self.watch.transactions.store.reading() as session:
                return open_jobs(self, session)
        except (LogError, NothingJudgedError):
            return []

    def show(
        self,
        request: Request,
        visitor: Visitor,
        template: str,
        *,
        status: int = 200,
        under_way: list[OpenJobViewModel] | None = None,
        **values: Any,
    ) -> HTMLResponse:
        """Return a page made of a template and what stands in it.

        ``under_way`` are the open jobs, where they were read already.
        """
        language = self.language(request)
        now = self.watch.clock.now()
        judged_at = self.watch.judged_at
        text = self.renderer.page(
            template,
            language,
            farm=self.farm.config.farm.name,
            here=request.url.path,
            visitor=visitor,
            may_run=visitor.may(Role.RUN),
            may_administer=visitor.may(Role.ADMINISTER),
            may_edit=visitor.may(Role.ADMINISTER) and self.watch.farm_in_use is not None,
            has_farm_page=self.watch.farm_in_use is not None,
            saved=lambda: _saved(request),
            written_in=lambda recipient: (
                self.watch.transactions.post.people.language_of(recipient).code
            ),
            form_token=lambda: self.auth.form_token(visitor),
            new_key=lambda: secrets.token_urlsafe(12),
            jobs_under_way=self._jobs_under_way if under_way is None else lambda: under_way,
            now=now,
            clock=self.clock,
            judged_at=judged_at,
            as_of=self.clock(judged_at) if judged_at is not None else None,
            old=self.old,
            old_after_s=OLD_AFTER_S,
            speed=self.watch.clock.speed,
            **values,
        )
        return HTMLResponse(text, status_code=status, headers={"Vary": "Accept-Language, Cookie"})
