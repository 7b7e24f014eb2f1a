"""Why a posted reading was refused."""


class BadReadingError(ValueError):
    """A posted body cannot be taken: the key at fault, what is wrong, and the mend."""

    def __init__(self, key: str, problem: str, mend: str) -> None:
        super().__init__(f"{key}: {problem}; {mend}")
        self.key = key
