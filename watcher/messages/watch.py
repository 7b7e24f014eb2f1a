"""What the watch says of itself."""

from collections.abc import Sequence
from pathlib import PurePath

from watcher.i18n.message import Message, Name, Sentence, WallTime, joined, plain_name, say, say_n
from watcher.messages.job import TAKE_A_READING
from watcher.messages.reasons import Speaker
from watcher.messages.text import Text, cut, headline_of
from watcher.messages.vocabulary import ALERT_WORDS
from watcher.messages.words import span
from watcher.store import tables
from watcher.store.last_known import Loss, Trouble
from watcher.store.tables import Job

_MOST_LOST = 6
_MOST_PROBLEMS = 3
_WORTH_TELLING_S = 300
_WHAT_BECAME: dict[Trouble, tuple[Message, Message]] = {
    "damaged": (
        say("The watch's log was damaged"),
        say("Its log could not be read any more."),
    ),
    "missing": (
        say("The watch's log was missing"),
        say("The file of its log was not there any more."),
    ),
    "emptied": (
        say("The watch's log was empty"),
        say("There was nothing left in its log."),
    ),
    "another": (
        say("The watch's log was another one"),
        say("In place of its log there was another one."),
    ),
    "older": (
        say("The watch's log is an older copy"),
        say("The newest part of its log is missing."),
    ),
}
_WATCHES_AGAIN = say("It watches again now.")
_LOOK_AT_THE_CLOCK = say("Look at the clock of the machine.")


def was_down(
    speaker: Speaker,
    since: int,
    now: int,
    *,
    crashed: bool,
    jobs: Sequence[Job],
    lost: Sequence[tables.Outgoing],
) -> Text:
    """Say from when to when nobody watched, and what could not be sent."""
    begin, end = (WallTime(at, now, speaker.farm.zone) for at in (since, now))
    how = say("It ended without a proper stop.") if crashed else say("It had been stopped.")
    lines: list[Message] = [joined([_nobody_watched(speaker, since, now), how], " ")]
    lines += [
        say("{field} was being sprayed and not watched.", field=Name(job.field)) for job in jobs
    ]
    lines += [_lost(speaker, message, now) for message in lost[:_MOST_LOST]]
    if len(lost) > _MOST_LOST:
        more = len(lost) - _MOST_LOST
        lines.append(say_n("and {n} more message.", "and {n} more messages.", more))
    return Text(
        title=say("Watch was down {begin} to {end}", begin=begin, end=end),
        lines=(*lines, _WATCHES_AGAIN),
    )


def _nobody_watched(speaker: Speaker, since: int, now: int) -> Message:
    begin, end = (WallTime(at, now, speaker.farm.zone) for at in (since, now))
    return say(
        "Nobody watched from {begin} to {end}, {span}.",
        begin=begin,
        end=end,
        span=span(now - since),
    )


def _lost(speaker: Speaker, message: tables.Outgoing, now: int) -> Message:
    return say(
        "Never arrived: {title} ({clock}, to {who}).",
        title=title_of(message),
        clock=WallTime(message.caused_at, now, speaker.farm.zone),
        who=Name(message.recipient),
    )


def title_of(message: tables.Outgoing) -> str:
    """Return the title of a message as it was written; an SMS begins with it."""
    return message.title or message.body.partition(". ")[0]


def stopping(jobs: Sequence[Job]) -> Text:
    """Say that the watch ends while somebody is spraying."""
    names = [Name(job.field, 20) for job in jobs]
    return Text(
        title=headline_of(say("Watch stops:"), names),
        lines=(
            say(
                "From now on nobody watches {fields}: the watch is being stopped.",
                fields=joined(names),
            ),
            TAKE_A_READING,
        ),
    )


def clock_doubted(by_s: float) -> Text:
    """Say that the machine's clock jumped, and that the watch does not go by it."""
    return Text(
        title=say("The machine's clock jumped"),
        lines=(
            joined(
                [
                    _jumped(by_s),
                    say(
                        "The watch goes on by its own time until stations or feeds agree with "
                        "the new one."
                    ),
                ],
                " ",
            ),
            _LOOK_AT_THE_CLOCK,
        ),
    )


def _jumped(by_s: float) -> Message:
    far = span(abs(by_s))
    if by_s > 0:
        return say("The clock of the machine jumped forward by {span}.", span=far)
    return say("The clock of the machine jumped back by {span}.", span=far)


def time_unknown(by_s: float) -> Text:
    """Say that nobody knows the time, so that nothing is judged."""
    why = say("No station or feed confirms the clock of the machine yet.")
    if by_s:
        why = say(
            "The clock of the machine and those of stations or feeds differ by {span}.",
            span=span(abs(by_s)),
        )
    return Text(
        title=say("Watch blind: time not certain"),
        lines=(
            joined([why, say("Nothing is judged until they agree.")], " "),
            _LOOK_AT_THE_CLOCK,
            TAKE_A_READING,
        ),
    )


def clock_jumped(by_s: float) -> Text:
    """Say that the watch's clock was set while somebody is spraying."""
    return Text(
        title=say("The watch's clock jumped"),
        lines=(
            joined([_jumped(by_s), say("Ages and times it gave may be wrong.")], " "),
            TAKE_A_READING,
        ),
    )


def cannot_judge(speaker: Speaker, why: str, since: int, now: int) -> Text:
    """Say that nothing is judged: whoever sprays must look for themselves."""
    return Text(
        title=say("Cannot see: the watch does not judge"),
        lines=(
            say(
                "Since {clock} the watch judges nothing: no alert comes until it can again.",
                clock=WallTime(since, now, speaker.farm.zone),
            ),
            _why(why),
            TAKE_A_READING,
        ),
    )


def _why(why: str) -> Message:
    return say("Why: {why}.", why=plain_name(why, 160).rstrip("."))


def cannot_write(speaker: Speaker, why: str, *, blind_since: int | None, now: int) -> Text:
    """Say that running jobs are judged from memory, as the log cannot be written.

    ``blind_since``: since when nothing was judged, where that was announced and is over now.
    """
    lines = [
        say(
            "It judges running jobs from memory and tells what changes. Jobs cannot be started, "
            "paused or ended until its log can be used."
        ),
        _why(why),
        say("Look after its machine: if it stops now, nobody watches."),
    ]
    if blind_since is not None:
        lines.insert(0, _judged_nothing(speaker, blind_since, now))
    return Text(title=say("Check: the watch cannot write its log"), lines=tuple(lines))


def sees_again(
    speaker: Speaker, now: int, *, blind_since: int | None, unwritten_since: int | None
) -> Text:
    """Say that the watch judges and writes again; from when it did not, None where it did."""
    lines: list[Message] = []
    if unwritten_since is not None:
        begin, end = (WallTime(at, now, speaker.farm.zone) for at in (unwritten_since, now))
        lines.append(
            say(
                "From {begin} to {end} it could not write its log. What stations said is kept as "
                "far as it came in; how the fields changed meanwhile is not.",
                begin=begin,
                end=end,
            )
        )
    if blind_since is not None:
        lines.append(_judged_nothing(speaker, blind_since, now))
    else:
        lines.append(say("Running jobs were judged from memory meanwhile."))
    return Text(title=say("Watch sees again"), lines=tuple(lines))


def _judged_nothing(speaker: Speaker, since: int, now: int) -> Message:
    begin, end = (WallTime(at, now, speaker.farm.zone) for at in (since, now))
    return say("From {begin} to {end} it judged nothing.", begin=begin, end=end)


def stopping_blind(why: str) -> Text:
    """Say that the watch ends and could not look who is spraying."""
    return Text(
        title=say("Watch stops: nobody watches"),
        lines=(
            say(
                "The watch is being stopped and cannot use its log: from now on nobody watches "
                "any field."
            ),
            _why(why),
            TAKE_A_READING,
        ),
    )


def log_lost(speaker: Speaker, loss: Loss, now: int) -> Text:
    """Say what became of the log, what the watch does not know any more, and what to do."""
    title, what = _WHAT_BECAME[loss.trouble]
    lines = [*_jobs_lost(loss), joined([what, *_what_is_used_now(loss)], " ")]
    lines += _from_when_to_when(speaker, loss, now)
    if loss.free_bytes is not None:
        left = f"{loss.free_bytes / 1e6:.0f}"
        lines.append(say("The disk has {n} MB left: move the old log elsewhere.", n=left))
    return Text(title=title, lines=tuple(lines))


def _jobs_lost(loss: Loss) -> list[Message]:
    lost: list[Message]
    if loss.jobs is None:
        lost = [
            say(
                "Which jobs were running is not known. If you spray, start the job again: "
                "until then nobody watches it."
            )
        ]
    else:
        lost = [
            say(
                "A job on {field} may be running: start it again if you still spray. "
                "Until then nobody watches it.",
                field=Name(job.field),
            )
            for job in loss.jobs
        ]
    over = [
        say(
            "The job on {field} counts as running now: finish or abandon it if it is over.",
            field=Name(job.field),
        )
        for job in loss.over
    ]
    return [*lost, *([TAKE_A_READING] if lost else []), *over]


def _what_is_used_now(loss: Loss) -> list[Message]:
    if loss.aside is not None:
        # The whole name, so that it can be found; it is made of the log's own and a time.
        new = say(
            "It was kept as {file}, and the watch goes on with a new one.", file=str(loss.aside)
        )
        if loss.trouble != "another":
            return [new]
        return [
            new,
            say(
                "If you put it there yourself: stop the watch, give it its name back, and remove "
                "the file beside it that ends in .known.json."
            ),
        ]
    if loss.trouble == "older":
        return [say("The watch goes on with what there is.")]
    if loss.trouble == "another":
        return [say("The watch goes on with that one.")]
    return [say("The watch goes on with a new one.")]


def _from_when_to_when(speaker: Speaker, loss: Loss, now: int) -> list[Message]:
    """What is not known any more, and how long nobody watched."""
    zone, until = speaker.farm.zone, loss.watched_until
    lines: list[Message] = []
    if loss.known_until is not None and loss.trouble == "older":
        begin = WallTime(loss.known_until, now, zone)
        if until is None:
            lines.append(say("It knows nothing from {begin}.", begin=begin))
        else:
            end = WallTime(until, now, zone)
            lines.append(say("It knows nothing from {begin} to {end}.", begin=begin, end=end))
    elif loss.trouble != "another" or loss.aside is not None:
        lines.append(say("Earlier readings, jobs, records and messages are not in it."))
    if until is not None and now - until >= _WORTH_TELLING_S:
        lines.append(_nobody_watched(speaker, until, now))
    return [*lines, _WATCHES_AGAIN]


def farm_mistaken(speaker: Speaker, mistakes: Sequence[str], checked_at: int, now: int) -> Text:
    """Say that the farm file cannot be used, which one is used instead, and what to mend."""
    return Text(
        title=say("The farm file has a mistake"),
        lines=(
            say(
                "The watch runs with the farm as it was at {clock}, until the mistake is mended.",
                clock=WallTime(checked_at, now, speaker.farm.zone),
            ),
            *_mistakes(mistakes),
        ),
    )


def secrets_troubled(troubles: Sequence[Message]) -> Text:
    """Say what was wrong with the file of secrets, and what to do."""
    return Text(
        title=say("Look at the push addresses"),
        lines=tuple(Sentence(trouble) for trouble in troubles[:_MOST_PROBLEMS]),
    )


def not_started(mistakes: Sequence[str]) -> Text:
    """Say, before there is a log or a farm, that the watch does not start."""
    return Text(
        title=say("The watch does not start"),
        lines=(
            say("Nobody watches any field until this is mended."),
            *_mistakes(mistakes),
            TAKE_A_READING,
        ),
    )


def _mistakes(mistakes: Sequence[str]) -> list[Message]:
    # As they stand: keys must be found in the file, and it is the reader's own. Of the file only
    # the name: its folders would take the room of the mend.
    plain = [_by_name(" ".join(mistake.split())) for mistake in mistakes[:_MOST_PROBLEMS]]
    lines: list[Message] = [joined([cut(mistake, 200).rstrip("."), "."], "") for mistake in plain]
    if len(mistakes) > _MOST_PROBLEMS:
        more = len(mistakes) - _MOST_PROBLEMS
        lines.append(say("and {n} more, listed by watcher check.", n=more))
    return lines


def _by_name(mistake: str) -> str:
    file, colon, what = mistake.partition(": ")
    return PurePath(file).name + colon + what if colon else mistake


def unreachable(recipient: str, why: str) -> Text:
    """Say that messages to somebody do not arrive."""
    who, plain = Name(recipient), plain_name(why, 160).rstrip(".")
    if plain:
        arrive = say("Messages to {who} do not arrive: {why}.", who=who, why=plain)
    else:
        arrive = say("Messages to {who} do not arrive: no reason given.", who=who)
    return Text(
        title=say("Not reached: {who}", who=Name(recipient, 24)),
        lines=(
            arrive,
            say("Mend the address in the settings, or tell {who} by other means.", who=who),
        ),
    )


def faulty(kinds: Sequence[str], error: str) -> Text:
    """Say that a part of the alerts has a fault, and what is not announced because of it."""
    return Text(
        title=say("Watch has a fault"),
        lines=(
            say(
                "A fault in the watch ({error}): no alerts of {kinds} until it is mended. "
                "Everything else goes on.",
                error=Name(error),
                kinds=joined(ALERT_WORDS[kind] for kind in kinds),
            ),
            TAKE_A_READING,
        ),
    )
