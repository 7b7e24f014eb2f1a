"""Messages for programs: what was sent to whom and what became of it, and that one was seen."""

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Path
from pydantic import ConfigDict, Field

from watcher.jobs.steps import StepName, StepRequest
from watcher.service.log_view import messages_before
from watcher.web.api.endpoints import API, Asked, Key, answers, bare
from watcher.web.api.models import ApiModel
from watcher.web.api.paging import LINKED, Paged
from watcher.web.auth.users import User
from watcher.web.context import AppContext


class MessageSchema(ApiModel):
    """A message to one recipient. Times are epoch seconds; null where that has not happened."""

    model_config = ConfigDict(use_attribute_docstrings=True, from_attributes=True)

    number: Annotated[int, Field(validation_alias="id")]
    id: Annotated[str, Field(validation_alias="short_id")]
    """What the reader sees and answers with; messages to several about one thing share it."""
    recipient: str
    kind: str
    about: str
    title: str
    body: str
    urgent: bool
    written_at: Annotated[int, Field(validation_alias="created_at")]
    state: Literal["waiting", "sending", "sent", "failed", "expired"]
    sent_at: int | None
    shown_at: int | None
    """When a device that was pushed to has shown it."""
    why: Annotated[str | None, Field(validation_alias="last_error")]
    """Why it did not arrive, or not yet."""
    seen_at: Annotated[int | None, Field(validation_alias="acknowledged_at")]
    seen_by: Annotated[str | None, Field(validation_alias="acknowledged_by")]


class SeenSchema(ApiModel):
    """That a message was seen."""

    outcome: Literal["done", "already"]
    said: str
    """The same in a sentence, with who saw it first and when."""


def router(context: AppContext) -> APIRouter:
    """Routes of the messages."""
    routes = APIRouter(prefix="/api/v1/messages", tags=["messages"], **API)
    looker, runner = Depends(context.auth.api_looker), Depends(context.auth.api_runner)

    @routes.get("", responses=answers(401, 422) | LINKED)
    def every(page: Paged, _user: User = looker) -> list[MessageSchema]:
        """Every message, the newest first."""
        with context.watch.transactions.store.reading() as session:
            found = messages_before(session, page.after, page.limit + 1)
            part = page.of(found, [one.id for one in found])
            return [MessageSchema.model_validate(one) for one in part]

    @routes.post("/{id}/seen", responses=answers(401, 403, 413, 422))
    async def seen(
        ref: Annotated[str, Path(alias="id", min_length=1, max_length=20)],
        language: Asked,
        key: Key = None,
        user: User = runner,
    ) -> SeenSchema:
        """Say that a message of the last day was seen: it is not sent again, no backup is asked."""
        step = StepRequest(StepName.SEEN, user.name, ref=ref, key=bare(key))
        taken = await context.watch.take_step(step)
        outcome: Literal["done", "already"] = "done" if taken.outcome.value == "done" else "already"
        return SeenSchema(outcome=outcome, said=taken.text.render(language))

    return routes
