"""How good the chances were, in words: what was said of jobs against what came of them."""

from watcher.forecasts.scores import FEWEST_DAYS, Bar, Skill
from watcher.i18n.message import Message, say

THAN_USUAL = say("Better than what usually holds at that hour")
THAN_FORECAST = say("Better than the forecast taken as it is")


def saved(title: Message, bar: Bar) -> Message:
    """Return how much of the error of another way the chances saved, with its bounds."""
    return say(
        "{title}: {share} of the error saved ({low} to {high}).",
        title=title,
        share=f"{bar.value:.0%}",
        low=f"{bar.low:.0%}",
        high=f"{bar.high:.0%}",
    )


def summary(found: Skill) -> Message:
    """Say in one sentence whether the chances can be relied on."""
    if not found.enough:
        return say(
            "Too early to tell: chances with a known outcome on {days} days, and {needed} are "
            "needed.",
            days=found.days,
            needed=FEWEST_DAYS,
        )
    return say(
        "Of {count} jobs on {days} days {held} % held to the end; the chances said for them were "
        "{stated} % on average. {verdict}",
        count=found.count,
        days=found.days,
        held=round(100 * found.held),
        stated=round(100 * found.said),
        verdict=_verdict(found),
    )


def _verdict(found: Skill) -> Message:
    against = [b for b in (found.against_usual, found.against_forecast) if b is not None]
    if all(bar.low > 0 for bar in against):
        return say("They said more than the hour of the day or the forecast alone.")
    if any(bar.high < 0 for bar in against):
        return say(
            "They said less than the hour of the day or the forecast alone: do not go by them."
        )
    return say(
        "It is not certain yet that they tell more than the hour of the day or the forecast."
    )
