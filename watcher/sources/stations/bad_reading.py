"""Why a posted reading was refused."""

_LONGEST_PART = 300
"""Characters: names and values out of the body are quoted."""


class BadReadingError(ValueError):
    """A posted body cannot be taken: the key at fault, what is wrong, and the mend."""

    def __init__(self, key: str, problem: str, mend: str) -> None:
        super().__init__(key, problem, mend)
        self.key, self.problem, self.mend = (part[:_LONGEST_PART] for part in (key, problem, mend))

    def __str__(self) -> str:
        return f"{self.key}: {self.problem}; {self.mend}"


class UnlikelyTimeError(BadReadingError):
    """A reading is of a time that cannot be, by the watch's own clock. ``time``: epoch seconds."""

    def __init__(self, key: str, time: float) -> None:
        super().__init__(
            key, f"{time:.0f} s since 1970 cannot be", "set the station's clock to UTC"
        )
        self.time = time

    def __reduce__(self) -> tuple[type["UnlikelyTimeError"], tuple[str, float]]:
        return type(self), (self.key, self.time)
