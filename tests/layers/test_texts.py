"""No file of the repository speaks of the machine that it was written on."""

import re
import subprocess
from pathlib import Path

import pytest
from support.commands import REPOSITORY

# spelled in pieces, so that this file does not find itself
FOLDERS = ["work", "home", "root", "Users", "tmp/v", "mnt"]
BUILD_PATH = re.compile(r"(?<![\w.~*-])/(?:" + "|".join(FOLDERS) + r")/[\w.]")
SHARED = re.compile(re.escape("../" + "shared"))


def repository_files() -> list[Path]:
    """All files that git tracks, or in an unpacked source archive all files."""
    listing = subprocess.run(
        ["git", "-C", str(REPOSITORY), "ls-files", "-z"], capture_output=True, text=True, check=False
    )
    if listing.returncode == 0:
        return [path for name in listing.stdout.split("\0") if name and (path := REPOSITORY / name).is_file()]
    return [path for path in REPOSITORY.rglob("*") if path.is_file() and ".venv" not in str(path)]


def mentions(text: str) -> list[str]:
    """The lines of a text that hold a path of a build machine."""
    return [line.strip() for line in text.splitlines() if BUILD_PATH.search(line) or SHARED.search(line)]


def test_no_text_holds_a_path_of_the_machine_it_was_made_on() -> None:
    files = repository_files()
    assert len(files) > 20
    wrong = {}
    for path in files:
        try:
            found = mentions(path.read_text(encoding="utf-8"))
        except UnicodeDecodeError:
            continue  # a picture, or a file that a test needs broken
        if found:
            wrong[str(path.relative_to(REPOSITORY))] = found
    assert wrong == {}


@pytest.mark.parametrize("folder", FOLDERS)
def test_a_planted_path_is_found(folder: str) -> None:
    assert mentions(f"made in /{folder}/someone/project") == [f"made in /{folder}/someone/project"]


def test_other_paths_are_fine() -> None:
    assert mentions("see tests/work/notes and https://example.org/home/page.html, or ~/work/x") == []
