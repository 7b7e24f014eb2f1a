"""What is said of fields that are not open now, and of what nobody knows of them."""

import math

import numpy as np

from watcher.i18n.message import Message, joined, say
from watcher.judge.judgement import Judgement
from watcher.judge.ranking import FieldNow, Ranking
from watcher.judge.reasons import reasons
from watcher.judge.timeline import Timeline
from watcher.limits.status import LimitState, Status
from watcher.messages.chances import open_from
from watcher.messages.reasons import Speaker
from watcher.messages.vocabulary import LIMIT_WORDS
from watcher.messages.words import span


def nothing_open(ranking: Ranking) -> Message:
    """Return the headline where no field is open: what is not known is not a no."""
    unknown = sum(seen.status is Status.UNKNOWN for seen in ranking.rest)
    if not unknown:
        return say("No field is fit to be sprayed now.")
    if unknown == len(ranking.rest):
        return say("Not known whether any field can be sprayed now.")
    return say("No field is known to be fit; of {n} it is not known.", n=unknown)


def silent_wind(timeline: Timeline) -> Message | None:
    """Return why nothing can be known of a field whose wind nobody reports; None where one does."""
    wind = timeline.spoken["wind_m_s"]
    if wind.source is not None:
        return None
    if math.isfinite(wind.age_s):
        return say("Not known: station silent for {span}", span=span(wind.age_s))
    return say("Not known: nobody has reported the wind")


def when_open(judgement: Judgement, seen: FieldNow, now_index: int, speaker: Speaker) -> Message:
    """Return when a field that is not open opens, as far as that is known."""
    now = int(judgement.series.times[now_index])
    if seen.opens_at is not None:
        return open_from(seen.opens_at, seen.opening, now, speaker.farm.zone)
    horizon = judgement.plan.farm.config.judging.horizon
    last = int(np.searchsorted(judgement.series.times, now + horizon))
    field = judgement.plan.fields.index(seen.field)
    ahead = judgement.best[field, now_index + 1 : last]
    reaches = int(judgement.series.times[-1]) >= now + horizon - 3600
    if reaches and ahead.size and not (ahead == Status.UNKNOWN).any():
        return say("not in the next {span}", span=span(horizon))
    return say("not known when it opens: not all of the next {span} are known", span=span(horizon))


def what_ends(judgement: Judgement, seen: FieldNow) -> Message | None:
    """Return the limits that end a field's window; None where nothing in sight does."""
    if seen.breaks_at is None or seen.setup is None:
        return None
    plan = judgement.plan
    time = int(np.searchsorted(judgement.series.times, seen.breaks_at))
    if time >= len(judgement.series):
        return None
    found = reasons(judgement, plan.fields.index(seen.field), plan.setups.index(seen.setup), time)
    broken = [LIMIT_WORDS[r.limit] for r in found if r.stand is LimitState.BROKEN]
    return joined(broken[:2]) if broken else None
