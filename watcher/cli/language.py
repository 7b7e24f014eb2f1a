"""The language a command speaks, which is one at a time.

That of the farm once its file is read, before that the one of ``WATCHER_LANGUAGE`` or of the
machine. Imports nothing heavy: help, and ``watcher run`` before it forks, need it too.
"""

import os
from contextvars import ContextVar

from watcher.i18n.language import ENGLISH, Language, of_machine
from watcher.i18n.message import Param, render

_SPOKEN: ContextVar[Language] = ContextVar("spoken", default=ENGLISH)


def spoken() -> Language:
    """Return the language that is spoken."""
    return _SPOKEN.get()


def speak(language: Language) -> None:
    """Set the language of all that is answered from now on."""
    _SPOKEN.set(language)


def speak_as_the_machine() -> None:
    """Speak the language the process is started with, before anything is read."""
    speak(of_machine(os.environ))


def in_words(text: Param) -> str:
    """Return a text in the language that is spoken."""
    return render(text, spoken())
