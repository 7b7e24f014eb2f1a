"""A language of no Latin letters, so that whatever was not translated can be seen."""

import re

from watcher.i18n.language import Language


class _Foreign(Language):
    """A language of no Latin letters: whatever has one when it is rendered was not translated."""

    def translate(self, text: str) -> str:
        return re.sub(r"(\{\w+\})|[A-Za-z]", lambda found: found[1] or "ж", text)

    def translate_plural(self, one: str, many: str, count: int) -> str:
        return self.translate(one if count == 1 else many)

    def number(self, text: str) -> str:
        return text

    def weekday(self, day: object) -> str:
        return "жжж"

    def day_and_month(self, day: object) -> str:
        return "жж"


FOREIGN = _Foreign("xx")
