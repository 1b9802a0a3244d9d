"""Files and functions stay short enough to be read in one go."""

import ast
from pathlib import Path

import pytest
from support.commands import REPOSITORY

MOST_FILE_LINES = 400
MOST_FUNCTION_LINES = 40  # of the body, docstring not counted

# path, or path::function -> why it may be longer
ALLOWED: dict[str, str] = {}


def too_long(source: str, name: str) -> list[str]:
    """Every function of a source text, and the text itself, that is over its size."""
    wrong = []
    lines = source.count("\n")
    if lines > MOST_FILE_LINES and name not in ALLOWED:
        wrong.append(f"{name} has {lines} lines")
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        body = node.body[1:] if ast.get_docstring(node) else node.body
        size = (node.end_lineno or node.lineno) - body[0].lineno + 1 if body else 0
        if size > MOST_FUNCTION_LINES and f"{name}::{node.name}" not in ALLOWED:
            wrong.append(f"{name}:{node.lineno} {node.name} has {size} lines")
    return wrong


def python_files() -> list[Path]:
    folders = [REPOSITORY / "sequencer", REPOSITORY / "tests"]
    return [path for folder in folders for path in sorted(folder.rglob("*.py"))]


@pytest.mark.parametrize("path", python_files(), ids=lambda p: str(p.relative_to(REPOSITORY)))
def test_a_file_and_its_functions_are_short(path: Path) -> None:
    assert too_long(path.read_text(encoding="utf-8"), str(path.relative_to(REPOSITORY))) == []


def test_a_file_that_is_too_long_is_found() -> None:
    assert too_long("x = 1\n" * 401, "planted.py") == ["planted.py has 401 lines"]


def test_a_function_that_is_too_long_is_found() -> None:
    line = "    x = 1\n"
    assert too_long(f"def long():\n{line * 41}", "planted.py") == ["planted.py:1 long has 41 lines"]
    docstring = '    """Say.\n\n    More.\n    """\n'
    assert too_long(f"def long(\n    a: int,\n):\n{docstring}{line * 40}", "planted.py") == []
