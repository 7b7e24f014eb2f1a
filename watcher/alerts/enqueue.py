"""One alert becomes one message a recipient who hears of its topic."""

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
    """Writes alerts to the outbox, inside the transaction of what caused them.

    Without ``links`` what is to be acknowledged is acknowledged by its id only.
    """

    speaker: Speaker
    links: Links | None = None
    subscribed: SubscribedDevices | None = None
    """Devices that take pushes."""

    @property
    def people(self) -> Addressees:
        """Everybody who may hear of something."""
        return Addressees(self.speaker.farm, self.subscribed)

    def __call__(self, session: Session, alert: Alert, now: int) -> int:
        """Write an alert to everyone who hears it; returns how many messages are new."""
        return sum(self._to(session, name, alert, now) for name in self.messages(alert))

    def messages(self, alert: Alert) -> dict[str, str]:
        """Return the key of the message each recipient of an alert gets."""
        hearers = [alert.to] if alert.to is not None else self._hearers(alert)
        return {name: f"{alert.key}/{name}" for name in hearers}

    def _hearers(self, alert: Alert) -> list[str]:
        return self.people.hearers(alert.rule.topic, urgent=alert.rule.urgency is Urgency.NOW)

    def _to(self, session: Session, name: str, alert: Alert, now: int) -> bool:
        recipient = self.people.get(name)
        if recipient is None:  # a device that was put out just now
            return False
        if alert.rule.overtakes:
            alert = replace(alert, text=self._overtaking(session, name, alert, now))
        return outbox.put(session, self._message(name, recipient, alert, now))

    def _overtaking(self, session: Session, name: str, alert: Alert, now: int) -> Text:
        """What has not arrived and is no longer so is not sent any more, but named."""
        gone = outbox.overtake(session, name, alert.subject)
        lines = [never_arrived(title_of(m), m.caused_at, now, self.speaker.farm.zone) for m in gone]
        return replace(alert.text, lines=(*alert.text.lines, *lines))

    def _message(
        self, name: str, recipient: Recipient, alert: Alert, now: int
    ) -> outbox.NewMessage:
        ref = alert.ref or outbox.short_id(alert.key)
        language = self.people.language_of(name)
        ask = self._ask(alert, ref, name, recipient)
        shaped = shape(alert.text, recipient.form, language, ref=ref, ask=ask)
        return outbox.NewMessage(
            key=f"{alert.key}/{name}",
            short_id=ref,
            about=alert.subject,
            kind=alert.rule.kind,
            recipient=name,
            tag=alert.rule.topic,
            title=shaped.title,
            body=shaped.body,
            created_at=now,
            caused_at=alert.true_at,
            due_at=due_at(alert.rule, recipient, self.speaker.farm.zone, now),
            urgent=alert.rule.urgency is Urgency.NOW,
            expires_at=alert.true_at + alert.rule.expires_after_s,
        )

    def _ask(self, alert: Alert, ref: str, name: str, recipient: Recipient) -> Message | None:
        # A device has a button for it.
        if not alert.rule.escalates or self.links is None or is_device(name):
            return None
        return ask_seen(self.links.link(ref, name), recipient.form)
