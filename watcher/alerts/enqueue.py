"""One notice becomes one message a recipient who hears of its topic."""

from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from watcher.alerts.alert import Alert
from watcher.alerts.conditions import Urgency
from watcher.alerts.quiet_hours import due_at
from watcher.delivery.acknowledgement import Links
from watcher.delivery.addressees import Addressees, SubscribedDevices, is_device
from watcher.farm.models import Recipient
from watcher.i18n.message import Message
from watcher.messages.forms import shape
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text
from watcher.messages.watch import title_of
from watcher.messages.words import ask_seen, never_arrived
from watcher.store import outbox


@dataclass(frozen=True)
class Enqueue:
    """Writes notices to the outbox, inside the transaction of what caused them.

    Without ``links`` what is to be acknowledged is acknowledged by its id only.
    """

    speaker: Speaker
    links: Links | None = None
    subscribed: SubscribedDevices | None = None
    """Devices that take pushes."""

    @property
    def people(self) -> Addressees:
        """Everybody who may be told something."""
        return Addressees(self.speaker.farm, self.subscribed)

    def __call__(self, session: Session, notice: Alert, now: int) -> int:
        """Write a notice to everyone who hears it; returns how many messages are new."""
        return sum(self._to(session, name, notice, now) for name in self.messages(notice))

    def messages(self, notice: Alert) -> dict[str, str]:
        """Return the key of the message each recipient of a notice gets."""
        hearers = [notice.to] if notice.to is not None else self._hearers(notice)
        return {name: f"{notice.key}/{name}" for name in hearers}

    def _hearers(self, notice: Alert) -> list[str]:
        return self.people.hearers(notice.rule.topic, urgent=notice.rule.urgency is Urgency.NOW)

    def _to(self, session: Session, name: str, notice: Alert, now: int) -> bool:
        recipient = self.people.get(name)
        if recipient is None:  # a device that was put out just now
            return False
        if notice.rule.overtakes:
            notice = replace(notice, text=self._overtaking(session, name, notice, now))
        return outbox.put(session, self._message(name, recipient, notice, now))

    def _overtaking(self, session: Session, name: str, notice: Alert, now: int) -> Text:
        """What has not arrived and is no longer so is not sent any more, but named."""
        gone = outbox.overtake(session, name, notice.subject)
        lines = [never_arrived(title_of(m), m.caused_at, now, self.speaker.farm.zone) for m in gone]
        return replace(notice.text, lines=(*notice.text.lines, *lines))

    def _message(
        self, name: str, recipient: Recipient, notice: Alert, now: int
    ) -> outbox.NewMessage:
        ref = notice.ref or outbox.short_id(notice.key)
        language = self.people.language_of(name)
        ask = self._ask(notice, ref, name, recipient)
        shaped = shape(notice.text, recipient.form, language, ref=ref, ask=ask)
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

    def _ask(self, notice: Alert, ref: str, name: str, recipient: Recipient) -> Message | None:
        # A device has a button for it.
        if not notice.rule.escalates or self.links is None or is_device(name):
            return None
        return ask_seen(self.links.link(ref, name), recipient.form)
