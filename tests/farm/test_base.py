"""Names and words as the farm file writes them: not empty, and no book."""

import pytest
from pydantic import TypeAdapter, ValidationError

from watcher.farm.base import Share, Words

WORDS, SHARE = TypeAdapter(Words), TypeAdapter(Share)


@pytest.mark.parametrize("length", [1, 200])
def test_words_may_be_one_letter_and_two_hundred(length: int) -> None:
    assert WORDS.validate_python("x" * length) == "x" * length


@pytest.mark.parametrize("length", [0, 201])
def test_no_words_and_more_than_two_hundred_letters_are_refused(length: int) -> None:
    with pytest.raises(ValidationError):
        WORDS.validate_python("x" * length)


@pytest.mark.parametrize(
    ("share", "is_one"), [(0.0, True), (1.0, True), (-0.01, False), (1.01, False), ("0.5", False)]
)
def test_a_share_lies_between_nothing_and_all(share: object, is_one: bool) -> None:
    if is_one:
        assert SHARE.validate_python(share) == share
    else:
        with pytest.raises(ValidationError):
            SHARE.validate_python(share)
