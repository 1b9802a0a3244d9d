"""Programs for boards: generated from a gait, built against the boards' core."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.arduino_core import Built, build_sketch
from sequencer.generate.render import generate
from sequencer.plan.boards import BOARDS
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from support.commands import REPOSITORY, STORK

TELEMETRY = "console: {port: serial, baud: 115200, telemetry: 100 ms}"


@dataclass(frozen=True)
class Program:
    gait: Path
    plan: Plan
    built: Built
    folder: Path


def build(
    gait: Path,
    folder: Path,
    *,
    flags: Sequence[str] = (),
    hooks: Mapping[str, str] | None = None,
    edits: Mapping[str, str] | None = None,
    plant: Mapping[str, str] | None = None,
) -> Program:
    """Generate and build a gait's program for its board.

    hooks: what to replace in the users' hooks file. edits: what to replace in the gait's machine file first,
    written into the folder, each of which must be there. plant: what to replace in the generated files.
    """
    sketch = folder / "walk"
    sketch.mkdir(parents=True)
    copy = edited(gait, folder, edits or {})
    plan = load_plan(copy)
    files = generate(plan, "board", sketch="walk")
    for name, text in planted(files, plant or {}).items():
        mine = replaced(text, hooks or {}) if name.endswith("_board_hooks.h") else text
        (sketch / name).write_text(mine, encoding="ascii")
    assert plan.wiring is not None
    try:
        built = build_sketch(BOARDS[plan.wiring.board], sketch, folder / "out", flags=flags)
    except ToolError as error:
        error.add_note(error.output)
        raise
    return Program(copy, plan, built, sketch)


def planted(files: Mapping[str, str], faults: Mapping[str, str]) -> dict[str, str]:
    """Replace in whichever of the files has it; each must stand somewhere, and once only."""
    made = dict(files)
    for old, new in faults.items():
        (name,) = (name for name, text in made.items() if old in text)
        assert made[name].count(old) == 1, old
        made[name] = made[name].replace(old, new)
    return made


def edited(gait: Path, folder: Path, edits: Mapping[str, str]) -> Path:
    """Copy a gait and its machine file into a folder, with replacements in either."""
    texts = {
        path.name: path.read_text(encoding="utf-8") for path in (gait, *gait.parent.glob("*.machine.yaml"))
    }
    for old, new in edits.items():
        assert any(old in text for text in texts.values()), old
        texts = {name: text.replace(old, new) for name, text in texts.items()}
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder / gait.name


def replaced(text: str, edits: Mapping[str, str]) -> str:
    for old, new in edits.items():
        assert old in text, old
        text = text.replace(old, new)
    return text


# every tick is told, and the sensors need to be still for a short time only, for emulated time is dear
STORK_EDITS = {
    TELEMETRY: "console: {port: serial, baud: 1000000, telemetry: 10 ms}\n  still: {for: 200 ms}",
    # the emulator has no analog pins beyond A7
    "knobs: {lean_angle: A8, lift: A9}": "knobs: {lean_angle: A7}",
}


def stork_program(folder: Path, **more: Mapping[str, str] | Sequence[str]) -> Program:
    """Build the stork's program with telemetry in every tick."""
    edits = {**STORK_EDITS, **dict(more.pop("edits", {}))}  # type: ignore[arg-type]
    return build(STORK, folder, edits=edits, **more)  # type: ignore[arg-type]


EXAMPLES = REPOSITORY / "examples"
