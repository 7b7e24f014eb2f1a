"""Which of apprise's plug-ins a push address needs.

apprise imports all of its plug-ins, some 140, when it is first asked for one: a third of a second
and 17 MiB for good. The one for a scheme is found by what its source says its protocols are, and it
alone is imported. Where none is found, as for a mistyped scheme, apprise looks through them all.
"""

import contextlib
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import apprise.plugins
from apprise.manager_plugins import NotificationManager

_PROTOCOLS = re.compile(r'^    (?:secure_)?protocol\b[^=]*=\s*(\([^)]*\)|"[^"]*")', re.MULTILINE)
_PLUGINS = Path(apprise.plugins.__file__).parent


class PushServices:
    """apprise's list of services, of which a process has one; threads may ask at once."""

    def __init__(self) -> None:
        self._list: Any = NotificationManager()  # type: ignore[no-untyped-call]
        self._turn = threading.Lock()
        self._some = False
        self._all = False

    def with_scheme(self, scheme: str) -> Any:
        """Return the list with the service of a URL's scheme in it, if there is one."""
        with self._turn:
            if not self._all and not (self._some and scheme in self._list):
                self._some = self._imported(scheme)
                self._all = not self._some
                if self._all:
                    self._list.unload_modules()  # it imports them all when it is asked next
        return self._list

    def _imported(self, scheme: str) -> bool:
        """Have apprise import the plug-in alone: it takes their names from a folder."""
        with contextlib.suppress(OSError), TemporaryDirectory() as listed:
            for name in plugins_of(scheme):
                (Path(listed) / name).touch()
            self._list.load_modules(path=listed, name=apprise.plugins.__name__)
            return scheme in self._list
        return False


def plugins_of(scheme: str) -> Iterator[str]:
    """The plug-ins whose source gives the scheme as a protocol of theirs."""
    quoted = f'"{scheme}"'
    for source in _PLUGINS.rglob("*.py"):
        text = source.read_text(encoding="utf-8")
        if quoted in text and any(quoted in found for found in _PROTOCOLS.findall(text)):
            yield source.relative_to(_PLUGINS).parts[0].removesuffix(".py")


SERVICES = PushServices()
"""One a process, as apprise's list is."""
