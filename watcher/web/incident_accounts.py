"""Accounts of incidents written into the log of the running watch, for pages and programs."""

from functools import partial

from watcher.incidents import commands
from watcher.incidents.commands import DriftSuspicion, Sealed
from watcher.service.snapshot import compose
from watcher.web.context import AppContext


def seal_account(context: AppContext, said: DriftSuspicion, by: str) -> Sealed:
    """Gather an account and seal it. Raises RecordError where place or time cannot be."""
    plan, now = context.watch.transactions.plan, context.watch.clock.now()
    with context.watch.transactions.store.writing() as session:
        weather = partial(compose, session, plan)
        return commands.write(session, plan, weather, said, by=by, now=now)
