"""Whole sequences of mid-job messages, word for word in English and Spanish.

``python -m tests.alerts.test_stories`` writes the stories anew: read every change of them.
"""

import re
import tempfile
from pathlib import Path

import pytest

from tests.support.written_story import WrittenStory, messages, most, never

STORIES = sorted((Path(__file__).parent / "stories").glob("*.story"))


@pytest.mark.parametrize("path", STORIES, ids=[path.stem for path in STORIES])
def test_a_story_is_told_word_for_word(path: Path, tmp_path: Path) -> None:
    written = path.read_text(encoding="utf-8")
    assert WrittenStory(tmp_path).live(written) == written


@pytest.mark.parametrize("path", STORIES, ids=[path.stem for path in STORIES])
def test_what_must_not_be_told_is_not(path: Path) -> None:
    written = path.read_text(encoding="utf-8")
    forbidden = never(written)
    assert forbidden
    for pattern in forbidden:
        assert [m for m in messages(written) if re.search(pattern, m)] == []
    limits = most(written)
    assert limits
    for count, name in limits:
        matching = [m for m in messages(written) if re.match(rf"[\d:]+ {name}\b", m)]
        assert len(matching) <= count, matching


if __name__ == "__main__":
    for path in STORIES:
        with tempfile.TemporaryDirectory() as folder:
            text = WrittenStory(Path(folder)).live(path.read_text(encoding="utf-8"))
        path.write_text(text, encoding="utf-8")
