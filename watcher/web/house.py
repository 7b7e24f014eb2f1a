"""What every page is made with: the watch, the door, the templates, and the moment shown."""

from dataclasses import dataclass, field
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import clock
from watcher.farm import Farm
from watcher.service.picture import Picture
from watcher.service.watch import Watch
from watcher.web.access import Role
from watcher.web.door import Door, Visitor
from watcher.web.push import Pusher
from watcher.web.templating import Paper
from watcher.web.tongue import Tongue

OLD_AFTER_S = 120
"""A judgement older than this is not shown without saying so: the watch judges every 30 s."""


class NothingJudgedError(Exception):
    """The watch has not judged yet: there is nothing to show."""


@dataclass(frozen=True)
class House:
    """Built once, with the application."""

    watch: Watch
    door: Door
    pusher: Pusher
    paper: Paper = field(default_factory=Paper)

    @property
    def farm(self) -> Farm:
        return self.watch.book.plan.farm

    @property
    def speaker(self) -> Speaker:
        return self.watch.book.post.speaker

    @property
    def picture(self) -> Picture:
        """The newest judgement. Raises NothingJudgedError before the first one."""
        if self.watch.picture is None:
            raise NothingJudgedError
        return self.watch.picture

    def clock(self, at: int) -> str:
        """Return an instant on the farm's clock, as seen from now."""
        return clock(at, self.watch.clock.now(), self.farm.zone)

    def show(
        self,
        request: Request,
        visitor: Visitor,
        template: str,
        *,
        status: int = 200,
        **told: Any,
    ) -> HTMLResponse:
        """Return a page made of a template and what it tells."""
        tongue = Tongue.of(request.headers.get("accept-language", ""))
        now = self.watch.clock.now()
        judged_at = self.watch.judged_at
        text = self.paper.page(
            template,
            tongue,
            farm=self.farm.told.farm.name,
            here=request.url.path,
            visitor=visitor,
            may_run=visitor.may(Role.RUN),
            may_administer=visitor.may(Role.ADMINISTER),
            form_token=lambda: self.door.form_token(visitor),
            now=now,
            judged_at=judged_at,
            as_of=self.clock(judged_at) if judged_at is not None else None,
            old=judged_at is None or now - judged_at > OLD_AFTER_S,
            old_after_s=OLD_AFTER_S,
            speed=self.watch.clock.speed,
            say=tongue.say,
            **told,
        )
        return HTMLResponse(text, status_code=status, headers={"Vary": "Accept-Language, Cookie"})
