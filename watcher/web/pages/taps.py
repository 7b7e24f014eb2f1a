"""When a form was sent from, that may have been kept on a device while there was no network."""

from collections.abc import Mapping

from watcher.jobs.commands import BadStepError

_MOST_DIGITS = 9


def tapped_at(form: Mapping[str, str], now: int) -> int | None:
    """Return when a form was tapped; None where it comes at once. Raises BadStepError.

    It says how long ago that was: no clock of a device needs to be right for that.
    """
    ago = form.get("ago", "")
    if not ago:
        return None
    if not ago.isdecimal() or len(ago) > _MOST_DIGITS:
        raise BadStepError("how long ago the step was tapped is not a number of seconds")
    return now - int(ago)
