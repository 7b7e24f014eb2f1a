"""One piece of news in words, before it is known who hears it."""

from dataclasses import dataclass

from watcher.alerts.conditions import ConditionKey, Rule
from watcher.messages.text import Text


@dataclass(frozen=True)
class Alert:
    """What is to be announced. ``true_at`` is the moment it was so, epoch seconds.

    ``key`` names the news: the same news has the same key, however often it is found.
    """

    rule: Rule
    subject: str
    key: str
    text: Text
    true_at: int
    to: str | None = None
    """The one recipient it is for; everyone who hears of its topic when None."""
    says: tuple[ConditionKey, ...] = ()
    """The conditions it tells of."""
    ref: str | None = None
    """Id of the message it repeats, so that acknowledging one acknowledges both."""
