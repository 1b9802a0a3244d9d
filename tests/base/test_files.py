import os
import stat
from pathlib import Path

import pytest

from sequencer.base.errors import MisuseError
from sequencer.base.files import write_all, write_whole


def test_a_file_is_written_with_the_usual_rights_and_nothing_else_is_left(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.txt", b"one")
    write_whole(tmp_path / "a.txt", b"two")
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_bytes() == b"two"
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == 0o666 & ~mask


def test_without_replace_an_existing_file_stays_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("mine")
    with pytest.raises(MisuseError, match=r"a\.txt exists already"):
        write_whole(tmp_path / "a.txt", b"theirs", replace=False)
    assert (tmp_path / "a.txt").read_text() == "mine"


def test_a_missing_folder_is_named_in_the_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError) as caught:
        write_whole(tmp_path / "gone" / "a.txt", b"x")
    assert caught.value.filename == str(tmp_path / "gone" / "a.txt")


def test_a_full_device_is_an_error_that_names_it() -> None:
    with pytest.raises(OSError, match="No space left") as caught:
        write_whole(Path("/dev/full"), b"x")
    assert caught.value.filename == "/dev/full"


def test_several_files_are_all_written_or_the_new_ones_taken_back(tmp_path: Path) -> None:
    old = tmp_path / "old.txt"
    old.write_text("before")
    wanted = [(old, b"after"), (tmp_path / "new.txt", b"n"), (tmp_path / "gone" / "x.txt", b"x")]
    with pytest.raises(FileNotFoundError):
        write_all(wanted)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["old.txt"]
    assert old.read_text() == "before"
    write_all(wanted[:2])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["new.txt", "old.txt"]
