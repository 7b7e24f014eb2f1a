"""The farm in use, for pages and the API: what changes it, what that comes to, what is wrong."""

import contextlib
from collections.abc import Iterator

from fastapi import HTTPException

from watcher.farm.feeds import is_filled_in
from watcher.farm.problems import FarmFileError
from watcher.i18n.message import Message, Name, say
from watcher.jobs import queries
from watcher.limits.farm_arrays import FarmArrays
from watcher.messages.farm_edit import effect_lines, held_line
from watcher.messages.recipients import unheard
from watcher.service.farm_editor import FarmProposal
from watcher.service.farm_effect import effect_of_change
from watcher.service.farm_in_use import FarmInUse
from watcher.service.kept_secrets import KIND_WORDS, SecretKind
from watcher.service.secrets_in_use import wanted
from watcher.service.written_in import secret_notes
from watcher.web.context import AppContext


def in_use(context: AppContext) -> FarmInUse:
    """Return what changes the farm; 404 where nothing does."""
    found = context.watch.farm_in_use
    if found is None:
        raise HTTPException(404, "the farm of this watch cannot be changed here")
    return found


def effect_said(context: AppContext, proposal: FarmProposal) -> list[Message]:
    """Say what a change would come to. Blocking: both farms are judged."""
    watch = context.watch
    after, now = FarmArrays.of(proposal.farm), watch.clock.now()
    with watch.transactions.store.reading() as session:
        found = effect_of_change(
            session,
            watch.transactions.plan,
            after,
            now,
            time_known=not watch.transactions.time.lost,
        )
        busy = [view.job.field for view in queries.opened(session, now)]
    return [
        *_newly_unheard(context, proposal),
        *_newly_locked(context, proposal),
        *effect_lines(found),
        *([held_line(busy)] if busy else []),
    ]


def _newly_unheard(context: AppContext, proposal: FarmProposal) -> list[Message]:
    """What nobody would hear of any more, and who would hear of it where another did."""
    running = context.watch.transactions.plan.farm
    before = unheard(running, context.reached)
    new = [n for n in proposal.farm.config.recipients if n not in running.config.recipients]
    return [
        *(line for line in unheard(proposal.farm, context.reached) if line not in before),
        *(
            say("A push address is kept for {name} already", name=Name(name))
            for name in new
            if context.reached(name)
        ),
    ]


def _newly_locked(context: AppContext, proposal: FarmProposal) -> Iterator[Message]:
    """Which sources would wait for a key or password that is not set here."""
    before, after = wanted(context.watch.transactions.plan.farm), wanted(proposal.farm)
    sources = proposal.farm.config.sources
    for kind in (SecretKind.BROKER, SecretKind.FEED):
        for name in after[kind]:
            needs = kind is SecretKind.BROKER or is_filled_in(sources[name])
            if needs and name not in before[kind] and not context.secrets.known.state(kind, name):
                yield say(
                    "{name} waits for its secret ({kind}): set it under “Tokens, keys and "
                    "passwords”",
                    name=Name(name),
                    kind=KIND_WORDS[kind],
                )


def secrets_written(context: AppContext) -> list[Message]:
    """Say which secrets stand in the farm's files. Reads them: not for pages looked at often."""
    with contextlib.suppress(FarmFileError):  # `farm_says` tells of one that cannot be read
        return list(secret_notes(in_use(context).editor.texts()))
    return []


def farm_says(context: AppContext) -> list[Message]:
    """Say what is wrong with the farm's files, and what of a change still waits."""
    watch = context.watch
    found = [*context.secrets.known.troubles]
    if (instead := watch.transactions.instead) is not None:
        found.append(
            say(
                "The farm file has a mistake: the farm of {clock} is in use until it is mended",
                clock=context.clock(instead.checked_at),
            )
        )
    if watch.farm_in_use is not None and watch.farm_in_use.waits and instead is None:
        waits = say("A part of the last change waits until the job under way ends")
        if watch.outage is not None:
            waits = say("The last change waits until the log can be used again")
        found.append(waits)
    return found
