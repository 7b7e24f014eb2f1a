"""What is said of who hears what: what nobody hears of, and who hears nothing."""

from collections.abc import Callable, Iterator, Mapping

from watcher.farm import Farm
from watcher.farm.models import Topic
from watcher.i18n.message import Message, Name, say

TOPIC_WORDS: Mapping[Topic, Message] = {
    Topic.BRIEF: say("the day's brief"),
    Topic.JOB: say("jobs under way"),
    Topic.SOURCES: say("stations and feeds"),
}


def unheard(farm: Farm, reached: Callable[[str], bool]) -> list[Message]:
    """Say what nobody hears of, the gravest first; ``reached``: has somebody an address."""
    recipients = farm.config.recipients
    if not recipients:
        return [say("Nobody is told anything: the farm has no recipients")]
    if not any(map(reached, recipients)):
        return [say("Nobody is told anything: no recipient has a push address")]
    return [
        *_topics(farm, reached),
        *(
            say("{name} hears nothing: no push address is set", name=Name(name))
            for name in recipients
            if not reached(name)
        ),
    ]


def _topics(farm: Farm, reached: Callable[[str], bool]) -> Iterator[Message]:
    for topic in (Topic.JOB, Topic.BRIEF, Topic.SOURCES):
        hears = (name for name, who in farm.config.recipients.items() if topic in who.hears)
        if not any(map(reached, hears)):
            yield say("Nobody hears of this: {topic}", topic=TOPIC_WORDS[topic])
