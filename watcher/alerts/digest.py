"""Several messages that could wait, told to one recipient as one."""

from collections.abc import Sequence

from watcher.alerts.forms import SMS_ROOM, Form, Shaped
from watcher.alerts.wording.words import CAUTION, TITLE_ROOM, cut, headline
from watcher.store.tables import Message


def together(messages: Sequence[Message], bodies: Sequence[str], form: Form) -> Shaped:
    """Return messages as one: their titles first, then each in full; an SMS has room for no more.

    ``bodies`` are the messages' own, each already saying how late it is.
    """
    if len(messages) == 1:
        return Shaped(messages[0].title, bodies[0])
    if form == "sms":
        heads = [body.partition(". ")[0] for body in bodies]
        refs = " ".join(m.short_id for m in messages)
        said = headline(f"{len(messages)}:", heads, SMS_ROOM - len(refs) - 3)
        return Shaped("", cut(f"{said} ({refs})", SMS_ROOM))
    title = headline(f"{len(messages)} messages:", [m.title for m in messages], TITLE_ROOM)
    blocks = (
        f"{message.title}\n{body.replace(CAUTION, '').replace(chr(10) * 2, chr(10)).strip()}"
        for message, body in zip(messages, bodies, strict=True)
    )
    return Shaped(title, "\n\n".join([*blocks, CAUTION]))
