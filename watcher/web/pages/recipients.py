"""Who hears what, on pages: recipients with their push addresses, and a test of each.

What a recipient hears stands in the farm file; the address is a secret and stands beside it.
"""

import asyncio
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from fastapi.responses import RedirectResponse

from watcher.delivery import receipts
from watcher.farm.editing.edits import Edit, Remove, SetValue
from watcher.farm.models import Recipient, Topic
from watcher.farm.problems import FarmFileError, Problem
from watcher.i18n.language import codes, language
from watcher.i18n.message import Message, Name, Param, joined, say
from watcher.messages.recipients import TOPIC_WORDS, unheard
from watcher.service.kept_secrets import SecretKind, SecretRefusedError
from watcher.web.auth.authenticator import Visitor
from watcher.web.context import AppContext
from watcher.web.farm_in_use import in_use
from watcher.web.pages.farm_change import Beside, FarmChangeAsked, by_edits, change, show_form
from watcher.web.pages.farm_form import Field, FormPage, Typed, edits, of_mistakes
from watcher.web.pages.held_entries import HeldEntries
from watcher.web.pages.secret_state import set_line

_BACK = "/farm/people"
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,59}")
_FORMS: Sequence[tuple[str, Param]] = (
    ("push", say("as a push")),
    ("mail", say("as mail")),
    ("sms", say("as SMS")),
)
_TICKET = "address_held"
_LOOKS, _LOOKED_EVERY_S = 30, 0.1
"""So often a test is looked at before its page says that it is on its way."""


@dataclass(frozen=True)
class _Wrong:
    """What is wrong with what stands in no file of the farm."""

    name: Message | None = None
    address: Message | None = None


def router(context: AppContext) -> APIRouter:
    """Routes of the recipients."""
    routes = APIRouter(include_in_schema=False)
    looker, owner = Depends(context.auth.looker), Depends(context.auth.administrator)
    people = _Recipients(context)

    @routes.get("/farm/people")
    def everybody(request: Request, visitor: Visitor = looker) -> Response:
        in_use(context)
        return context.show(
            request,
            visitor,
            "recipients.html",
            rows=[people.row(name) for name in context.farm.config.recipients],
            unheard=unheard(context.farm, context.reached),
            devices=context.pushes is not None and len(context.auth.sessions.devices),
            topics=TOPIC_WORDS,
        )

    @routes.get("/farm/new-person")
    def asks_new(request: Request, visitor: Visitor = owner) -> Response:
        return people.form(request, visitor, None)

    @routes.post("/farm/new-person")
    async def new(request: Request, visitor: Visitor = owner) -> Response:
        return await people.take(request, visitor, None)

    @routes.get("/farm/people/{name}")
    def asks_one(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return people.form(request, visitor, _known(context, name))

    @routes.post("/farm/people/{name}")
    async def one(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return await people.take(request, visitor, _known(context, name))

    @routes.post("/farm/people/{name}/remove")
    async def remove(request: Request, name: str, visitor: Visitor = owner) -> Response:
        return await people.remove(request, visitor, _known(context, name))

    @routes.post("/farm/people/{name}/test")
    async def test(request: Request, name: str, visitor: Visitor = owner) -> Response:
        """Send a test by the way every alert takes, and wait a moment for what becomes of it."""
        await context.auth.form(request, visitor)
        ref = await people.test(_known(context, name))
        return RedirectResponse(f"{_BACK}/{name}?test={ref}#test", 303)

    return routes


def _known(context: AppContext, name: str) -> str:
    in_use(context)
    if name not in context.farm.config.recipients:
        raise HTTPException(404, "nobody of the farm file has this name")
    return name


class _Recipients:
    """What the routes do."""

    def __init__(self, context: AppContext) -> None:
        self._context = context
        self._held = HeldEntries(context.watch.clock.now)

    def row(self, name: str) -> dict[str, Any]:
        """How a recipient stands in the list."""
        who = self._context.farm.config.recipients[name]
        quiet = who.quiet_hours
        return {
            "name": name,
            "hears": joined([TOPIC_WORDS[topic] for topic in who.hears]),
            "quiet": quiet and f"{quiet.start:%H:%M}–{quiet.end:%H:%M}",
            "address": set_line(self._context, SecretKind.PUSH, name),
        }

    def form(
        self,
        request: Request,
        visitor: Visitor,
        name: str | None,
        typed: Typed | None = None,
        wrong: _Wrong = _Wrong(),  # frozen
    ) -> Response:
        """Show what a recipient hears; ``name`` is None for a new one."""
        context, secrets = self._context, self._context.secrets.known
        state = None if name is None else secrets.state(SecretKind.PUSH, name)
        tested = request.query_params.get("test", "")
        return show_form(
            context,
            request,
            visitor,
            self._page(name or (typed.form.get("name", "") if typed else "")),
            typed,
            template="recipient.html",
            who=name,
            new_name=typed.form.get("name", "") if typed else "",
            set_line=None if name is None else set_line(context, SecretKind.PUSH, name),
            fixed=state is not None and state.of_settings,
            reached=state is not None,
            name_wrong=wrong.name,
            address_wrong=wrong.address,
            fate=self._fate(tested, name) if tested and name else None,
            tested=tested,
        )

    async def take(self, request: Request, visitor: Visitor, name: str | None) -> Response:
        """Take what was typed: what stands in the farm file as a change, the address apart."""
        context = self._context
        form = await context.auth.form(request, visitor, long=True)
        typed, ticket = form.pop("address", "").strip(), form.get(_TICKET, "")
        who = name or form.get("name", "").strip()
        if typed:
            ticket = form[_TICKET] = self._held.hold(visitor, typed)
        address = self._held.held(visitor, ticket) if ticket else None
        wrong = _Wrong(
            None if name else self._wrong_name(who),
            await asyncio.to_thread(self._wrong_address, who, address, ticket, new=name is None),
        )
        if wrong != _Wrong():
            form.pop(_TICKET, None)
            return self.form(request, visitor, name, Typed(form), wrong)
        asked = self._page(who)
        found = edits(asked.fields, form)
        if name is None:
            hears = [topic.value for topic in Topic if form.get(f"hears:{topic.value}")]
            found = [SetValue(("recipients", who), {"hears": hears}), *found]
        return await change(
            context,
            request,
            visitor,
            FarmChangeAsked(
                by_edits(context, found),
                form,
                _BACK if name is None else f"{_BACK}/{name}",
                lambda problems: self.form(request, visitor, name, Typed(form, problems)),
                beside=None if address is None else self._beside(visitor, who, address, ticket),
            ),
        )

    async def remove(self, request: Request, visitor: Visitor, name: str) -> Response:
        """Take a recipient out, and out of where they are somebody's backup."""
        context = self._context
        form = await context.auth.form(request, visitor)
        if form.get("address_only"):
            try:
                await context.secrets.remove(SecretKind.PUSH, name, by=_by(visitor))
            except OSError as error:
                raise HTTPException(503, f"it cannot be removed ({error.strerror})") from error
            return RedirectResponse(f"{_BACK}/{name}", 303)
        others = context.farm.config.recipients.items()
        gone: list[Edit] = [Remove(("recipients", name))]
        gone += [Remove(("recipients", n, "backup")) for n, who in others if who.backup == name]

        def refused(problems: Sequence[Problem]) -> Response:
            wrong = of_mistakes(problems)
            return context.show(request, visitor, "farm_refused.html", status=422, wrong=wrong)

        asked = FarmChangeAsked(by_edits(context, gone), form, _BACK, refused)
        return await change(context, request, visitor, asked)

    async def test(self, name: str) -> str:
        """Write a test to a recipient; returns its id."""
        context, now = self._context, self._context.watch.clock.now()
        says = say("A test: messages of the weather watch arrive here.")
        spoken, form = context.farm.language_of(name), context.farm.config.recipients[name].form

        def put() -> str:
            with context.watch.transactions.store.writing() as session:
                return receipts.put_test(session, name, says, language=spoken, form=form, now=now)

        ref = await context.watch.run_and_rejudge(put)
        context.watch.delivery.wake()
        for _ in range(_LOOKS):
            if (await asyncio.to_thread(self._looked, ref, name) or (True,))[0]:
                break
            await asyncio.sleep(_LOOKED_EVERY_S)
        return ref

    def _looked(self, ref: str, name: str) -> tuple[bool, Message] | None:
        now = self._context.watch.clock.now()
        with self._context.watch.transactions.store.reading() as session:
            return receipts.fate_at_address(session, ref, name, now)

    def _fate(self, ref: str, name: str) -> Message | None:
        found = self._looked(ref[:20], name)
        return None if found is None else found[1]

    def _wrong_name(self, name: str) -> Message | None:
        if not _NAME.fullmatch(name):
            return say("Write a short name: letters, digits, - and _, no spaces")
        if name in self._context.watch.transactions.plan.farm.config.recipients:
            return say("Somebody has this name already: choose another one")
        return None

    def _wrong_address(
        self, name: str, address: str | None, ticket: str, *, new: bool
    ) -> Message | None:
        """What is wrong with the address, without a part of it. Slow the first time."""
        secrets = self._context.secrets.known
        if address is None and not ticket and new and secrets.state(SecretKind.PUSH, name):
            return say(
                "A push address is kept of an earlier {name}: type that of the new one, or remove "
                "the old one under “Tokens, keys and passwords” first",
                name=Name(name),
            )
        if address is None:
            # The look at the change took longer than what was typed is held.
            return say("Type the push address again: it was typed too long ago") if ticket else None
        try:
            secrets.check(SecretKind.PUSH, name, address)
        except SecretRefusedError as refused:
            return say("This push address {wrong}", wrong=refused.wrong)
        return None

    def _beside(self, visitor: Visitor, name: str, address: str, ticket: str) -> Beside:
        """Keep the address with the change."""

        async def keep() -> None:
            try:
                await self._context.secrets.keep(SecretKind.PUSH, name, address, by=_by(visitor))
            except OSError as error:
                wrong = say("the push address cannot be kept ({why})", why=str(error.strerror))
                mend = say("free space on the disk of the watch, and type it again")
                file = in_use(self._context).editor.file
                raise FarmFileError([Problem(file, "", wrong, mend)]) from error
            self._held.let_go(ticket)

        line = say("Push address of {name}: set anew, and not shown again", name=Name(name))
        return Beside(line, keep)

    def _page(self, name: str) -> FormPage:
        others: list[tuple[str, Param]] = [
            ("", say("nobody")),
            *((n, Name(n)) for n in self._context.farm.config.recipients if n != name),
        ]
        known = self._context.farm.config.recipients
        title = say("What {name} hears", name=Name(name))
        quiet = say("Between the quiet hours only what concerns a job under way is sent.")
        return FormPage(
            title if name in known else say("Somebody new to be told"),
            _BACK,
            [(None, quiet, _fields(("recipients", name), others))],
        )


def _fields(at: Sequence[str], others: Sequence[tuple[str, Param]]) -> list[Field]:
    languages: list[tuple[str, Param]] = [("", say("the farm's")), *_languages()]
    plain: Mapping[str, Any] = {n: f.default for n, f in Recipient.model_fields.items()}
    minutes = say("While this is empty: {minutes} min", minutes=round(plain["backup_after"] / 60))
    most = say("While this is empty: {most}", most=plain["most_an_hour"])
    topics = [(topic.value, word) for topic, word in TOPIC_WORDS.items()]
    all_topics = [topic.value for topic in plain["hears"]]
    return [
        Field("hears", (*at, "hears"), say("Hears of"), "several", topics, default=all_topics),
        Field("start", (*at, "quiet_hours", "start"), say("Quiet from"), "time"),
        Field("end", (*at, "quiet_hours", "end"), say("Quiet until"), "time"),
        Field("form", (*at, "form"), say("Is told"), "choice", _FORMS, default=plain["form"]),
        Field("language", (*at, "language"), say("In this language"), "choice", languages),
        Field("backup", (*at, "backup"), say("Who is told where nobody answers"), "choice", others),
        Field("backup_after", (*at, "backup_after"), say("After this time"), hint=minutes),
        Field(
            "most_an_hour", (*at, "most_an_hour"), say("Most messages an hour"), "number", hint=most
        ),
    ]


def _languages() -> Iterator[tuple[str, Param]]:
    for code in codes():
        yield code, language(code).name


def _by(visitor: Visitor) -> str:
    return visitor.user.name if visitor.user else ""
