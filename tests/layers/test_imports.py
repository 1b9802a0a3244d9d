"""The house's one direction: imports run down a list of layers only, and not within a line."""

import ast
from pathlib import Path

import pytest
from support.commands import REPOSITORY

# from the top to the bottom; packages on one line don't know each other
LAYERS = [
    ["sequencer.__main__"],
    ["sequencer.cli"],
    ["sequencer.bench", "sequencer.watch"],
    ["sequencer.show", "sequencer.rehearse", "sequencer.prove"],
    ["sequencer.check"],
    ["sequencer.executors.compiled"],
    ["sequencer.build"],
    ["sequencer.generate"],
    ["sequencer.executors.reference"],
    ["sequencer.history"],
    ["sequencer.trace"],
    ["sequencer.plan"],
    ["sequencer.gait"],
    ["sequencer.base"],
]
RANK = {package: rank for rank, line in enumerate(LAYERS) for package in line}
# the top of the package: the version, and the Python interface over all layers but the command line
FACADE = ("sequencer", "sequencer.api")
FREE = {"sequencer.__version__", "sequencer.executors"}


def module_name(dotted: str) -> str:
    """The name that a file is imported by; only relative imports need to know that it is an __init__."""
    return dotted.removesuffix(".__init__")


def package_of(module: str) -> str | None:
    """The layer's package that a module or a name in it belongs to."""
    parts = module.split(".")
    for end in range(len(parts), 0, -1):
        if ".".join(parts[:end]) in RANK:
            return ".".join(parts[:end])
    return None


def imported(source: str, module: str) -> list[tuple[int, str]]:
    """Every module or name of ours that a source text imports, at any depth, with its line."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = module.split(".")[: -node.level]
                base = ".".join([*above, base] if base else above)
            found += [(node.lineno, f"{base}.{alias.name}") for alias in node.names]
    return [(line, name) for line, name in found if name.split(".")[0] == "sequencer"]


def upward_imports(source: str, dotted: str) -> list[str]:
    """Every import of a module that does not run down."""
    module = module_name(dotted)
    own = package_of(module)
    wrong = []
    for line, name in imported(source, dotted):
        other = package_of(name)
        if name in FREE or (own is not None and own == other):
            continue
        if module == "sequencer" and name.startswith("sequencer.api"):
            continue  # the names that it hands on
        if own == "sequencer.cli" and other is None:
            continue  # the command line may use the Python interface
        if module in FACADE and other is not None and RANK[other] > RANK["sequencer.cli"]:
            continue
        if own is None or other is None or RANK[other] <= RANK[own]:
            wrong.append(f"{module}:{line} imports {name}")
    return wrong


def modules() -> list[tuple[str, Path]]:
    found = []
    for path in sorted((REPOSITORY / "sequencer").rglob("*.py")):
        parts = path.relative_to(REPOSITORY).with_suffix("").parts
        found.append((".".join(parts), path))
    return found


@pytest.mark.parametrize(("dotted", "path"), modules(), ids=[name for name, _ in modules()])
def test_a_module_imports_only_from_layers_below_its_own(dotted: str, path: Path) -> None:
    name = module_name(dotted)
    assert name in (*FACADE, "sequencer.executors") or package_of(name), f"{name} belongs to no layer"
    assert upward_imports(path.read_text(encoding="utf-8"), dotted) == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("sequencer.plan.tables", "from sequencer.check.findings import find"),
        ("sequencer.gait.model", "def late():\n    import sequencer.plan.tables"),
        ("sequencer.show.diagram", "from sequencer.prove import equality"),
        ("sequencer.base.errors", "from sequencer import cli"),
        ("sequencer.history.blocks", "from sequencer.executors.reference import tick"),
        ("sequencer.trace.csv", "from ..history import blocks"),
        ("sequencer.check.reach", "from sequencer import load"),
        ("sequencer.api", "from sequencer.cli import main"),
    ],
)
def test_a_planted_upward_import_is_found(module: str, source: str) -> None:
    assert len(upward_imports(source, module)) == 1


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("sequencer.check.reach", "from sequencer.plan.tables import Plan"),
        ("sequencer.show.jsonout", "from sequencer import __version__"),
        ("sequencer.trace.csv", "from .blocks import TickBlock"),
        ("sequencer.trace.__init__", "from .blocks import TickBlock"),
        ("sequencer.cli.check", "import sequencer\nfrom sequencer.show.terminal import findings_text"),
        ("sequencer.api", "from sequencer.show.diagram import draw"),
        ("sequencer.plan.build", "import numpy"),
    ],
)
def test_a_downward_import_is_fine(module: str, source: str) -> None:
    assert upward_imports(source, module) == []
