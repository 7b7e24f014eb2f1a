"""One notice becomes one message a recipient who hears of its topic."""

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from watcher.alerts.acknowledgement import Links
from watcher.alerts.conditions import Urgency
from watcher.alerts.forms import Form, shape
from watcher.alerts.notices import Notice
from watcher.alerts.quiet import due_at
from watcher.alerts.wording.reasons import Speaker
from watcher.alerts.wording.words import Text, ask_seen, never_arrived
from watcher.farm.models import Recipient
from watcher.store import outbox


@dataclass(frozen=True)
class Post:
    """Writes notices to the outbox, inside the transaction of what caused them.

    Without ``links`` what is to be acknowledged is acknowledged by its id only.
    """

    speaker: Speaker
    links: Links | None = None

    def __call__(self, session: Session, notice: Notice, now: int) -> int:
        """Write a notice to everyone who hears it; returns how many messages are new."""
        recipients = self.speaker.farm.told.recipients
        hearers = [name for name, told in recipients.items() if notice.rule.topic in told.hears]
        if notice.to is not None:
            hearers = [notice.to]
        return sum(self._to(session, name, notice, now) for name in hearers)

    def _to(self, session: Session, name: str, notice: Notice, now: int) -> bool:
        recipient = self.speaker.farm.told.recipients[name]
        if notice.rule.overtakes:
            notice = replace(notice, text=self._overtaking(session, name, notice, now))
        return outbox.put(session, self._message(name, recipient, notice, now))

    def _overtaking(self, session: Session, name: str, notice: Notice, now: int) -> Text:
        """What has not arrived and is no longer so is not sent any more, but named."""
        gone = outbox.overtake(session, name, notice.subject)
        lines = [
            never_arrived(m.title or m.body.split(".")[0], m.caused_at, now, self.speaker.farm.zone)
            for m in gone
        ]
        return replace(notice.text, lines=(*notice.text.lines, *lines))

    def _message(
        self, name: str, recipient: Recipient, notice: Notice, now: int
    ) -> outbox.NewMessage:
        ref = notice.ref or outbox.short_id(notice.key)
        shaped = shape(
            notice.text, recipient.form, ref=ref, ask=self._ask(notice, ref, name, recipient.form)
        )
        return outbox.NewMessage(
            key=f"{notice.key}/{name}",
            short_id=ref,
            about=notice.subject,
            kind=notice.rule.kind,
            recipient=name,
            tag=notice.rule.topic,
            title=shaped.title,
            body=shaped.body,
            created_at=now,
            caused_at=notice.true_at,
            due_at=due_at(notice.rule, recipient, self.speaker.farm.zone, now),
            urgent=notice.rule.urgency is Urgency.NOW,
            expires_at=notice.true_at + notice.rule.expires_after_s,
        )

    def _ask(self, notice: Notice, ref: str, name: str, form: Form) -> str:
        if not notice.rule.escalates or self.links is None:
            return ""
        return ask_seen(self.links.link(ref, name), form)
