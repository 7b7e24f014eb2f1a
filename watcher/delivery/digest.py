"""Several messages that could wait, sent to one recipient as one."""

from collections.abc import Sequence

from watcher.i18n.language import Language
from watcher.i18n.message import say
from watcher.messages.forms import SMS_ROOM, Form, Shaped
from watcher.messages.text import TITLE_ROOM, cut, headline
from watcher.messages.words import CAUTION
from watcher.store.tables import Outgoing


def together(
    messages: Sequence[Outgoing], bodies: Sequence[str], form: Form, language: Language
) -> Shaped:
    """Return messages as one: their titles first, then each in full; an SMS has room for no more.

    ``bodies`` are the messages' own, each already saying how late it is. What all of them say, who
    measured the wind and the caution, is said once, at the end. ``language`` is the recipient's.
    """
    if len(messages) == 1:
        return Shaped(messages[0].title, bodies[0])
    if form == "sms":
        heads = [body.partition(". ")[0] for body in bodies]
        refs = " ".join(m.short_id for m in messages)
        line = headline(f"{len(messages)}:", heads, SMS_ROOM - len(refs) - 3)
        return Shaped("", cut(f"{line} ({refs})", SMS_ROOM))
    start = say("{n} messages:", n=len(messages)).render(language)
    title = headline(start, [m.title for m in messages], TITLE_ROOM)
    lines = [[line for line in body.splitlines() if line] for body in bodies]
    by_all = [line for line in lines[-1] if all(line in own for own in lines)]
    blocks = [
        "\n".join([message.title, *(line for line in own if line not in by_all)])
        for message, own in zip(messages, lines, strict=True)
    ]
    caution = CAUTION.render(language)
    end = "\n".join([*(line for line in by_all if line != caution), caution])
    return Shaped(title, "\n\n".join([*blocks, end]))
