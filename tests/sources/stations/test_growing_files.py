"""What is new in files that others write into: each line once, whatever happens to the file."""

import os
from itertools import chain
from pathlib import Path

import pytest

from watcher.sources.stations import growing_files
from watcher.sources.stations.growing_files import LONGEST_LINE, LOOK_BACK_S, GrowingFiles

NOW = 1_781_272_800


class Folder:
    """A folder of files, all written to at ``NOW``, and one who follows them."""

    def __init__(self, folder: Path, *, header_rows: int = 0, whole: bool = False) -> None:
        self.folder = folder
        self.files = GrowingFiles(str(folder / "*.csv"), header_rows=header_rows, whole=whole)

    def write(
        self, text: str | bytes, name: str = "a.csv", *, at: int = NOW, how: str = "ab"
    ) -> None:
        with (self.folder / name).open(how) as file:
            file.write(text if isinstance(text, bytes) else text.encode())
        self.touch(name, at)

    def touch(self, name: str = "a.csv", at: int = NOW) -> None:
        os.utime(self.folder / name, (at, at))

    def new_pieces(self) -> list[str]:
        pieces = self.files.new_pieces(NOW)
        for piece in pieces or []:
            self.files.advance(piece)
        return [line.decode() for piece in pieces or [] for line in piece.lines]


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path)


def test_no_file_is_not_the_same_as_no_news(folder: Folder) -> None:
    assert folder.files.new_pieces(NOW) is None
    folder.write("")
    assert folder.files.new_pieces(NOW) == []


def test_each_line_comes_once(folder: Folder) -> None:
    folder.write("1\n2\n")
    assert folder.new_pieces() == ["1", "2"]
    assert folder.new_pieces() == []
    folder.write("3\n")
    assert folder.new_pieces() == ["3"]


def test_the_same_comes_again_until_it_is_taken(folder: Folder) -> None:
    folder.write("1\n")
    assert folder.files.new_pieces(NOW) == folder.files.new_pieces(NOW) != []


def test_half_a_line_waits_for_its_end(folder: Folder) -> None:
    folder.write("1\n2")
    assert folder.new_pieces() == ["1"]
    assert folder.new_pieces() == []
    folder.write("1.5\n")
    assert folder.new_pieces() == ["21.5"]


def test_windows_line_ends_are_line_ends(folder: Folder) -> None:
    folder.write("1\r\n2\r\n")
    assert folder.new_pieces() == ["1", "2"]


def test_a_file_put_there_whole_ends_without_a_line_end_once_it_stands(tmp_path: Path) -> None:
    folder = Folder(tmp_path, whole=True)
    folder.write("1\n2")
    assert folder.new_pieces() == ["1"]
    folder.write("3", at=NOW + 1)
    assert folder.new_pieces() == []
    assert folder.new_pieces() == ["23"]
    assert folder.new_pieces() == []


def test_a_file_rotated_away_and_begun_anew_loses_nothing(folder: Folder) -> None:
    folder.write("1\n2\n")
    assert folder.new_pieces() == ["1", "2"]
    folder.write("3\n")
    (folder.folder / "a.csv").rename(folder.folder / "a.1.csv")
    folder.write("4\n", at=NOW + 1)
    assert folder.new_pieces() == ["3", "4"]


def test_a_file_cut_short_and_begun_anew_is_read_from_its_start(folder: Folder) -> None:
    folder.write("1\n2\n")
    assert folder.new_pieces() == ["1", "2"]
    folder.write("3\n", how="wb")
    assert folder.new_pieces() == ["3"]


def test_a_file_begun_anew_that_has_already_outgrown_the_old_is_read_from_its_start(
    folder: Folder,
) -> None:
    folder.write("1\n2\n")
    assert folder.new_pieces() == ["1", "2"]
    folder.write("3\n4\n5\n", how="wb")
    assert folder.new_pieces() == ["3", "4", "5"]


def test_a_file_of_one_line_written_over_is_read_each_time(folder: Folder) -> None:
    for line in ("1", "2", "3"):
        folder.write(f"{line}\n", how="wb")
        assert folder.new_pieces() == [line]


def test_files_dropped_one_by_one_are_each_read_oldest_first(folder: Folder) -> None:
    folder.write("2\n", "b.csv", at=NOW - 60)
    folder.write("1\n", "z.csv", at=NOW - 120)
    assert folder.new_pieces() == ["1", "2"]
    folder.write("3\n", "c.csv")
    assert folder.new_pieces() == ["3"]


def test_the_header_comes_with_every_piece_and_is_no_line(tmp_path: Path) -> None:
    folder = Folder(tmp_path, header_rows=2)
    folder.write("names\nunits\n1\n")
    first = folder.files.new_pieces(NOW)
    assert first is not None
    assert [piece.header for piece in first] == [(b"names\n", b"units\n")]
    assert folder.new_pieces() == ["1"]
    folder.write("2\n")
    second = folder.files.new_pieces(NOW)
    assert second is not None
    assert (second[0].header, second[0].anew) == ((b"names\n", b"units\n"), False)


@pytest.mark.parametrize("text", ["", "na", "names\n", "names\nuni", "names\nunits\n"])
def test_a_header_still_being_written_is_no_news(tmp_path: Path, text: str) -> None:
    folder = Folder(tmp_path, header_rows=2)
    folder.write(text)
    assert folder.new_pieces() == []
    folder.write("names\nunits\n1\n", how="wb")
    assert folder.new_pieces() == ["1"]


def test_files_long_not_written_to_are_left_to_importing(folder: Folder) -> None:
    folder.write("1\n", at=NOW - LOOK_BACK_S - 1)
    assert folder.new_pieces() == []
    folder.write("2\n")
    assert folder.new_pieces() == ["1", "2"]


def test_a_known_file_is_followed_however_long_it_slept(folder: Folder) -> None:
    folder.write("1\n")
    assert folder.new_pieces() == ["1"]
    folder.write("2\n", at=NOW - LOOK_BACK_S - 1)
    assert folder.new_pieces() == ["2"]


def test_of_a_long_file_only_whole_lines_near_its_end_are_read_at_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(growing_files, "MOST_AT_FIRST", 10)
    folder = Folder(tmp_path, header_rows=1)
    folder.write("names\n" + "".join(f"{n:03}\n" for n in range(100)))
    assert folder.new_pieces() == ["098", "099"]
    folder.write("100\n")
    assert folder.new_pieces() == ["100"]


def test_a_long_piece_comes_in_parts_and_loses_nothing(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(growing_files, "MOST_AT_ONCE", 10)
    folder.write("".join(f"{n}\n" for n in range(10, 30)))
    parts = [folder.new_pieces() for _ in range(8)]
    assert max(map(len, parts)) == 3
    assert list(chain(*parts)) == [str(n) for n in range(10, 30)]


def test_a_file_that_vanishes_meanwhile_is_no_trouble(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder.write("1\n")
    listed = list(folder.files._files())
    (folder.folder / "a.csv").unlink()
    monkeypatch.setattr(folder.files, "_files", lambda: iter(listed))
    assert folder.files.new_pieces(NOW) == []


def test_a_line_without_an_end_is_cut_and_what_follows_is_reached(folder: Folder) -> None:
    folder.write("1\n" + "x" * (2 * LONGEST_LINE))
    assert folder.new_pieces() == ["1"]
    cut = folder.new_pieces()
    assert cut == ["x" * (2 * LONGEST_LINE)]
    folder.write("y" * LONGEST_LINE)
    assert folder.new_pieces() == ["y" * LONGEST_LINE]
    folder.write("2\n3\n")  # the rest of it is no line of its own
    assert folder.new_pieces() == ["3"]


def test_of_a_header_without_an_end_only_so_much_is_read(tmp_path: Path) -> None:
    folder = Folder(tmp_path, header_rows=2)
    folder.write("x" * (5 * LONGEST_LINE))
    [piece] = folder.files.new_pieces(NOW) or []
    assert [len(line) for line in piece.header] == [LONGEST_LINE, LONGEST_LINE]
