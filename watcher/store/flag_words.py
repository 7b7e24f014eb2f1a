"""What quality control found, as words in one cell of a table: ``"wind_m_s: step, stuck"``."""

from collections.abc import Mapping

from watcher.sources.base import Flag
from watcher.weather.series import QUANTITIES


def _word(flag: Flag) -> str:
    return (flag.name or str(flag.value)).lower().replace("_", " ")


_BY_WORD = {_word(flag): flag for flag in Flag if flag}


def flag_words(flags: Mapping[str, int]) -> str:
    """Return findings as words: ``"wind_m_s: step, stuck; temp_c: range"``."""
    return "; ".join(
        f"{name}: {', '.join(_word(flag) for flag in Flag(bits))}" for name, bits in flags.items()
    )


def flags_of(words: str) -> dict[str, int]:
    """Return the findings that ``flag_words`` wrote; ``ValueError`` for a word it does not know."""
    found: dict[str, int] = {}
    for part in filter(None, (part.strip() for part in words.split(";"))):
        name, _, words = part.partition(":")
        if name.strip() not in QUANTITIES:
            raise ValueError(f"{name.strip()!a} is not a quantity")
        for word in words.split(","):
            if word.strip() not in _BY_WORD:
                raise ValueError(f"{word.strip()!a} is not one of {', '.join(_BY_WORD)}")
            found[name.strip()] = found.get(name.strip(), 0) | _BY_WORD[word.strip()]
    return found
