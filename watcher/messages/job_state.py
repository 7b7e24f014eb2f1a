"""What to do with a job now, as pages and commands show it: a shape, a word, a sentence."""

from watcher.i18n.message import Message, WallTime, say
from watcher.judge.job_action import Action, JobAction
from watcher.messages.reasons import Speaker
from watcher.messages.words import span

ACTION_WORDS: dict[Action, Message] = {
    Action.GO_ON: say("Go on"),
    Action.GET_READY: say("Get ready"),
    Action.STOP: say("Stop"),
    Action.CANNOT_SEE: say("Cannot see"),
    Action.WAIT: say("Wait"),
    Action.PAUSED: say("Paused"),
}
ACTION_SHAPES: dict[Action, str] = {
    Action.GO_ON: "●",
    Action.GET_READY: "◐",
    Action.STOP: "✕",
    Action.CANNOT_SEE: "?",
    Action.WAIT: "◔",
    Action.PAUSED: "❚❚",
}
NOT_WATCHED: tuple[Message, Message] = (
    say("? Not watched"),
    say("This job cannot be watched: its field or setup is no longer in the farm file."),
)
"""What stands for a state of which nothing can be said: what to do, and why."""
NOBODY_WATCHES: tuple[Message, Message] = (
    NOT_WATCHED[0],
    say("No watch runs: nobody is alerted of this job. Start it with 'watcher run'."),
)
"""What stands for the state of a job while no process watches."""
_COMING: dict[str, Message] = {
    "wind likely over": say(
        "The wind is likely to pass its limit within ten minutes. Finish the pass and be ready "
        "to stop"
    ),
    "ends soon": say("The weather in sight ends before the job is done. Finish the pass"),
}


def state_sentence(speaker: Speaker, field: str, state: JobAction, now: int) -> Message:
    """Return why a job is in its state, without a full stop. ``now`` is epoch seconds."""

    def clock(at: int) -> WallTime:
        return WallTime(at, now, speaker.farm.zone)

    worst = speaker.reason(field, state.causes[0]) if state.causes else None
    if state.action is Action.PAUSED:
        if worst is None:
            return say("Since {time}; nothing stands against going on", time=clock(state.since))
        return say("Since {time}; {reason}", time=clock(state.since), reason=worst)
    if state.action is Action.WAIT and state.steady_at is not None:
        return say(
            "Inside again since {time}. If it stays so, go on at {then}",
            time=clock(state.since),
            then=clock(state.steady_at),
        )
    if state.action is Action.GET_READY and state.signs:
        return _COMING.get(state.signs[0], say("Something is coming. Finish the pass"))
    return say("Everything is inside its limits") if worst is None else _cause(worst, state)


def _cause(worst: Message, state: JobAction) -> Message:
    """Return what calls for a stop or cannot be seen, and what to do about it."""
    if state.action is Action.STOP and state.comes_and_goes:
        return say(
            "{reason}. Outside {n} times within the hour: wait for {span} of steady weather",
            reason=worst,
            n=state.stops_lately,
            span=span(state.steady_s),
        )
    if state.action is Action.CANNOT_SEE:
        return say("{reason}. Take a reading at boom height, or stop", reason=worst)
    return worst
