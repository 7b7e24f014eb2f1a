"""What pages say of a secret: since when it is set and by whom, and nothing of it."""

from watcher.i18n.message import Message, Name, say
from watcher.service.kept_secrets import SecretKind
from watcher.web.context import AppContext


def set_line(context: AppContext, kind: SecretKind, name: str) -> Message:
    """Say whether a secret is set, since when and by whom."""
    state = context.secrets.known.state(kind, name)
    if state is None:
        return say("not set")
    if state.at is None:
        variable = f"WATCHER_{kind.value.upper()}__{name}"
        return say("set in the settings of the watch ({variable})", variable=variable)
    clock = context.clock(state.at)
    if not state.by:
        return say("set {clock}", clock=clock)
    return say("set {clock} by {name}", clock=clock, name=Name(state.by))
