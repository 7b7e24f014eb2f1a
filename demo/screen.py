"""What the demo prints: one line a happening, and every message in a box, like on a phone."""

import threading
from collections.abc import Sequence
from datetime import datetime

from rich.console import Console, RenderableType
from rich.padding import Padding
from rich.panel import Panel
from rich.text import Text

from demo.day import ZONE
from demo.phone import Push

_WIDTH = 84
_INDENT = (0, 0, 0, 7)


class Screen:
    """Prints from any thread, whole pieces at a time. Times are epoch seconds."""

    def __init__(self) -> None:
        self._console = Console(highlight=False, markup=False, width=_WIDTH)
        self._turn = threading.Lock()

    def note(self, text: str) -> None:
        """Print plain text."""
        self._print(Text(text))

    def happens(self, at: int, text: str, details: Sequence[str] = ()) -> None:
        """Print what happens, and when on the farm's clock."""
        self._print(
            Text(f"\n{clock(at)}  {text}"),
            *(Padding(Text(d), _INDENT, expand=False) for d in details),
        )

    def shows(self, push: Push) -> None:
        """Print a message as it stands on somebody's phone."""
        title = Text(push.title, style="bold")
        body = Text("\n" if push.title else "") + Text(push.body)
        self._print(
            Panel(
                title + body,
                title=f"{clock(push.at)}  {push.to}'s phone (invented)",
                title_align="left",
                width=_WIDTH - 8,
                padding=(0, 1),
            )
        )

    def _print(self, *what: RenderableType) -> None:
        with self._turn:
            for piece in what:
                self._console.print(piece)


def clock(at: int) -> str:
    """Return a moment as the farm's clock shows it."""
    return f"{datetime.fromtimestamp(at, ZONE):%H:%M}"
