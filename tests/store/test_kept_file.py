"""A small state in a file: whole or as before, in room that was taken beforehand."""

import errno
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watcher.store.kept_file import KeptFile, TooLargeError

HALF = 4096


@pytest.fixture
def file(tmp_path: Path) -> KeptFile:
    return KeptFile(tmp_path / "state", half_bytes=HALF)


def test_nothing_is_kept_at_first(file):
    assert file.read() is None
    file.reserve()
    assert file.read() is None


def test_the_newest_state_is_read(file):
    file.reserve()
    for state in (b"first", b"second, longer", b"third"):
        file.write(state)
        assert file.read() == state


def test_the_file_is_as_large_as_at_the_beginning_and_for_its_owner_only(file):
    file.reserve()
    for n in range(9):
        file.write(bytes([n]) * (HALF - 100))
    status = file.path.stat()
    assert (status.st_size, status.st_mode & 0o777) == (2 * HALF, 0o600)
    assert status.st_blocks * 512 >= 2 * HALF  # the room is taken, not only named


def test_what_is_kept_outlives_a_new_beginning(file):
    file.reserve()
    file.write(b"kept")
    file.reserve()
    assert KeptFile(file.path, half_bytes=HALF).read() == b"kept"


def test_a_state_that_does_not_fit_changes_nothing(file):
    file.write(b"kept")
    with pytest.raises(TooLargeError):
        file.write(b"x" * HALF)
    assert file.read() == b"kept"


@given(cut=st.integers(0, 400), spoilt=st.integers(0, 255))
def test_a_write_that_was_cut_off_or_spoilt_leaves_the_state_before_it(
    tmp_path_factory, cut, spoilt
):
    file = KeptFile(tmp_path_factory.mktemp("kept") / "state", half_bytes=HALF)
    file.write(b"before" * 20)
    before = file.path.read_bytes()
    file.write(bytes(range(1, 200)))
    after = bytearray(file.path.read_bytes().ljust(2 * HALF, b"\0"))
    changed = HALF if before[:HALF].ljust(HALF, b"\0") == bytes(after[:HALF]) else 0
    at = changed + cut
    if cut < 200 and after[at] != spoilt:
        after[at] = spoilt
        file.path.write_bytes(after)
        assert file.read() == b"before" * 20
    else:
        file.path.write_bytes(after[:at])
        assert file.read() in {b"before" * 20, bytes(range(1, 200))}


def test_no_room_is_asked_of_a_full_disk_once_it_was_taken(file, monkeypatch):
    file.reserve()

    def full(*_args: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full)
    file.reserve()
    file.write(b"kept")
    assert file.read() == b"kept"
