"""Quiet hours: when a message may go out."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from watcher.alerts.conditions import Rule, Urgency
from watcher.farm.models import QuietHours, Recipient
from watcher.messages.wall_clock import wall_instant


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
