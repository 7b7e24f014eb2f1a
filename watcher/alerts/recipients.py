"""Who hears what, when, and in which form: one notice becomes one message a recipient."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from watcher.alerts.conditions import Rule, Urgency
from watcher.alerts.daily import wall_instant
from watcher.alerts.forms import shape
from watcher.alerts.notices import Notice
from watcher.farm import Farm
from watcher.farm.models import QuietHours, Recipient
from watcher.store import outbox


def post(session: Session, farm: Farm, notice: Notice, now: int) -> int:
    """Write a notice to everyone who hears it; returns how many messages are new."""
    hearers = {n: r for n, r in farm.told.recipients.items() if notice.rule.tag in r.hears}
    messages = [_message(farm, notice, name, r, now) for name, r in hearers.items()]
    return sum(outbox.put(session, message) for message in messages)


def _message(
    farm: Farm, notice: Notice, name: str, recipient: Recipient, now: int
) -> outbox.NewMessage:
    ref = outbox.short_id(notice.key)
    shaped = shape(notice.text, recipient.form, ref=ref)
    return outbox.NewMessage(
        key=f"{notice.key}/{name}",
        short_id=ref,
        about=notice.subject,
        kind=notice.rule.kind,
        recipient=name,
        tag=notice.rule.tag,
        title=shaped.title,
        body=shaped.body,
        created_at=now,
        caused_at=notice.true_at,
        due_at=due_at(notice.rule, recipient, farm.zone, now),
        urgent=notice.rule.urgency is Urgency.NOW,
        expires_at=notice.true_at + notice.rule.expires_after_s,
    )


def due_at(rule: Rule, recipient: Recipient, zone: ZoneInfo, now: int) -> int:
    """Return when a message may go out: at once, or at the end of the recipient's quiet hours."""
    quiet = recipient.quiet_hours
    if rule.urgency is Urgency.NOW or quiet is None:
        return now
    return _end_of_quiet(quiet, zone, now) or now


def _end_of_quiet(quiet: QuietHours, zone: ZoneInfo, now: int) -> int | None:
    """The end of the quiet hours that now lies in; None outside of them."""
    today = datetime.fromtimestamp(now, zone).date()
    across_midnight = quiet.end <= quiet.start
    for begins in (today, today - timedelta(days=1)):
        ends = begins + timedelta(days=1) if across_midnight else begins
        end = wall_instant(ends, quiet.end, zone)
        if wall_instant(begins, quiet.start, zone) <= now < end:
            return end
    return None
