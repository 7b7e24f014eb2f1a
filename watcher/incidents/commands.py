"""Accounts written and read: each is one entry of the records' chain, sealed when it is written."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from watcher.i18n.message import say
from watcher.incidents.facts import KIND, Account, Suspected
from watcher.incidents.gather import gather
from watcher.incidents.place import span_of
from watcher.limits.farm_arrays import FarmArrays
from watcher.records import journal
from watcher.records.chain import Link
from watcher.records.errors import RecordError, UnreadableError
from watcher.records.judged_weather import Compose

_MOST_SEEN = 2000


@dataclass(frozen=True)
class Sealed:
    """An account and its link in the chain."""

    account: Account
    link: Link


@dataclass(frozen=True)
class DriftSuspicion:
    """What somebody says of an incident."""

    suspected: Suspected
    place: str
    """A field, a neighbour, or "latitude, longitude"."""
    start: int
    end: int | None = None
    """None for one moment. [epoch s]"""
    seen: str = ""
    """What was seen."""
    step: str | None = None
    """The same key from the same one is the same account."""


def write(
    session: Session, plan: FarmArrays, compose: Compose, said: DriftSuspicion, *, by: str, now: int
) -> Sealed:
    """Gather an account and seal it. Raises RecordError where place or time cannot be.

    It is never changed: what is known better later is another account.
    """
    journal.hold(session)
    written = accounts(session)
    for before in written:
        if said.step is not None and (before.account.step, before.link.by) == (said.step, by):
            return before
    account = gather(
        session,
        plan,
        compose,
        number=len(written) + 1,
        suspected=said.suspected,
        written=said.place,
        span=span_of(said.start, said.end, now),
        seen=said.seen.strip()[:_MOST_SEEN],
        step=said.step,
    )
    content = account.model_dump(mode="json")
    return Sealed(
        account, journal.write(session, job=None, kind=KIND, at=now, by=by, content=content).link
    )


def accounts(session: Session) -> list[Sealed]:
    """Return every account, the oldest first. Raises RecordError where one is unreadable."""
    found = []
    for entry in journal.of_no_job(session, KIND):
        try:
            found.append(Sealed(Account.model_validate(entry.content), entry.link))
        except ValueError:
            raise UnreadableError(entry.link.number) from None
    return found


def account(session: Session, number: int) -> Sealed:
    """Return an account by its number. Raises RecordError."""
    for sealed in accounts(session):
        if sealed.account.number == number:
            return sealed
    raise RecordError(say("there is no account of an incident {number}", number=number))
