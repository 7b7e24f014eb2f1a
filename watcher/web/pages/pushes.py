"""Pushes to a device: it subscribes, tries whether they arrive, and answers them."""

from collections.abc import Mapping
from functools import partial
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import JSONResponse

from watcher.delivery import receipts
from watcher.delivery.acknowledgement import BadLinkError, Seen, linked
from watcher.delivery.addressees import Subscription
from watcher.delivery.push_address import NowhereError
from watcher.delivery.sent_messages import job_of
from watcher.delivery.web_push import WebPush
from watcher.i18n.message import Message, say
from watcher.jobs import commands
from watcher.jobs.steps import StepName, StepOutcome, StepRequest
from watcher.service.transactions import Transactions
from watcher.web.auth.authenticator import NotAllowedError, Visitor
from watcher.web.context import AppContext
from watcher.web.subscribing import MOST_KEY, BadSubscriptionError, sent_json, subscription, text_of

_LATEST_S = 24 * 3600
_OFF = say("Pushes are off: whoever runs the watch must set WATCHER_CONTACT.")
_NOT_HERE = say("Alerts are not pushed to this device.")
_HERE = say("Alerts are pushed to this device.")


def router(context: AppContext) -> APIRouter:
    """Routes of the page on which a device subscribes and tries whether pushes arrive."""
    routes = APIRouter(prefix="/devices/push", include_in_schema=False)
    looker = Depends(context.auth.looker)

    def mine(visitor: Visitor, sent: Mapping[str, Any]) -> tuple[Subscription, str | None] | None:
        """The subscription of this very device: whoever names its address has it."""
        return context.auth.sessions.subscription(visitor.session or 0, text_of(sent, "endpoint"))

    @routes.get("")
    def key(_visitor: Visitor = looker) -> dict[str, str]:
        # Asked for only by a device that wants pushes: making it loads a large library.
        return {"key": _pushes(context).public_key}

    @routes.post("")
    async def subscribe(request: Request, visitor: Visitor = looker) -> Response:
        way, sent = _pushes(context), await sent_json(request)
        language = context.language(request).code
        device = subscription(sent, language)
        try:
            await way.look_up(device.endpoint)
        except NowhereError as error:
            raise BadSubscriptionError(
                say("this device cannot be pushed to: {why}", why=str(error))
            ) from error
        keep = partial(context.auth.sessions.subscribe, visitor.session or 0, device)
        await way.in_thread(keep)
        return Response(status_code=204)

    @routes.post("/state")
    async def state(request: Request, visitor: Visitor = looker) -> Response:
        """Say whether this device is pushed to, and what became of its test."""
        sent = await sent_json(request)
        found = await run_in_threadpool(mine, visitor, sent)
        here = found is not None and found[1] is None
        says: Message = _HERE if here else _NOT_HERE
        over = True
        if found is not None and found[1] is not None:
            says = _ended(found[1])
        ref = text_of(sent, "ref")
        if found is not None and ref:
            fate = await run_in_threadpool(_fate, context, ref, found[0])
            over, test = fate or (True, None)
            says = test if test is not None and here else says
        return JSONResponse(
            {"here": here, "over": over, "says": says.render(context.language(request))}
        )

    @routes.post("/test")
    async def test(request: Request, visitor: Visitor = looker) -> Response:
        """Send this device a test, by the way every alert takes."""
        _pushes(context)
        found = await run_in_threadpool(mine, visitor, await sent_json(request))
        if found is None or found[1] is not None:
            raise BadSubscriptionError(_NOT_HERE)
        language = context.language(request)
        now = context.watch.clock.now()

        def put() -> str:
            with context.watch.transactions.store.writing() as session:
                says, name = say("A test: alerts of a running job arrive here."), found[0].name
                return receipts.put_test(
                    session, name, says, language=language, form="push", now=now
                )

        ref = await context.watch.run_and_rejudge(put)
        context.watch.delivery.wake()
        return JSONResponse({"ref": ref})

    return routes


def answers_router(context: AppContext) -> APIRouter:
    """Routes by which a service worker answers pushes."""
    routes = APIRouter(prefix="/devices/push", include_in_schema=False)
    runner = Depends(context.auth.runner)

    @routes.post("/receipt")
    async def receipt(request: Request) -> Response:
        """Take a device's word that it has shown a push, or that its user has seen it.

        Nobody needs to be logged in: the token came with the push, which only the device can read.
        """
        sent = await sent_json(request)
        seen, what = _seen(_pushes(context), sent), text_of(sent, "what")
        if what not in {"shown", "seen"}:
            raise NotAllowedError("there is no such receipt")
        if context.auth.sessions.was_shut_out(seen.recipient):
            raise NotAllowedError("the access of this device has ended")
        device = context.auth.sessions.devices.get(seen.recipient)
        by = device.user if device is not None else seen.recipient
        await context.watch.acknowledge(
            partial(_note, seen=seen, by=by if what == "seen" else None)
        )
        return Response(status_code=204)

    @routes.post("/pause")
    async def pause(request: Request, visitor: Visitor = runner) -> Response:
        """Pause the job a push is about, as its user tapped there.

        Once, however often a tap comes: it has a key of its own. ``ago`` is how long ago it was,
        in seconds.
        """
        sent = await sent_json(request)
        job = await run_in_threadpool(_job, context, _seen(_pushes(context), sent))
        by, ago = visitor.user.name if visitor.user else "", sent.get("ago")
        if not isinstance(ago, int) or not 0 <= ago <= _LATEST_S:
            raise commands.BadStepError("how long ago the step was tapped is not known")
        at = context.watch.clock.now() - ago
        key = text_of(sent, "key")[:MOST_KEY] or None
        step = StepRequest(StepName.PAUSE, by, job=job, key=key, at=at)
        taken = await context.watch.take_step(step)
        if taken.outcome is StepOutcome.REFUSED:
            raise commands.BadStepError(str(taken.text))
        return Response(status_code=204)

    return routes


def _pushes(context: AppContext) -> WebPush:
    if context.pushes is None:
        raise BadSubscriptionError(_OFF)
    return context.pushes


def _ended(status: str) -> Message:
    return say(
        "The push service ended the pushes to this device (it answered {status}). Push alerts to "
        "it anew.",
        status=status,
    )


def _seen(pushes: WebPush, sent: Mapping[str, Any]) -> Seen:
    try:
        return pushes.links.read(text_of(sent, "token"))
    except BadLinkError as error:
        raise NotAllowedError(str(error)) from error


def _note(transactions: Transactions, *, seen: Seen, by: str | None) -> None:
    now = transactions.clock.now()
    with transactions.store.writing() as session:
        receipts.shown(session, seen, now)
        if by is not None:
            commands.see(session, seen.ref, by, now)


def _fate(context: AppContext, ref: str, device: Subscription) -> tuple[bool, Message] | None:
    with context.watch.transactions.store.reading() as session:
        return receipts.fate(session, ref, device, context.watch.clock.now())


def _job(context: AppContext, seen: Seen) -> int:
    with context.watch.transactions.store.reading() as session:
        message = linked(session, seen, context.watch.clock.now())
        job = job_of(message) if message is not None else None
    if job is None:
        raise NotAllowedError("this push is about no job")
    return job
