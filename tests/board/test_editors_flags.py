"""The stork's program built as the boards' own editor does it: its flags, link-time optimisation included."""

import re
from pathlib import Path

from support.board.programs import Program
from support.board.stork import Scene, moves, verdict

from sequencer.build.arduino_core import find_core
from sequencer.build.programs import run_program

DEFINES = ["-mmcu=atmega2560", "-DF_CPU=16000000L", "-DARDUINO=10819", "-DARDUINO_AVR_MEGA2560"]
DEFINES += ["-DARDUINO_ARCH_AVR", "-DDECIMAL_DIG=__DECIMAL_DIG__", "-w"]
COMPILERS = {".ino": "cpp", ".cpp": "cpp", ".c": "c", ".S": "S"}  # to what platform.txt calls them


def flags(text: str, key: str) -> list[str]:
    """A line of the core's platform.txt, but for what it takes from others."""
    (found,) = re.findall(rf"^compiler\.{re.escape(key)}=(.*)$", text, re.M)
    return [flag for flag in found.split() if "{" not in flag and flag != "-MMD"]


def build(program: Program, folder: Path) -> Path:
    core = find_core()
    platform = (core / "platform.txt").read_text(encoding="utf-8")
    include = [f"-I{core / 'cores' / 'arduino'}", f"-I{core / 'variants' / 'mega'}"]
    objects = []
    for source in [*sorted(program.folder.iterdir()), *sorted((core / "cores" / "arduino").iterdir())]:
        kind = COMPILERS.get(source.suffix)
        if kind is None:
            continue
        made = folder / f"{source.name}.o"
        language = ["-x", "c++"] if source.suffix == ".ino" else []
        command = ["avr-g++" if kind == "cpp" else "avr-gcc", *flags(platform, f"{kind}.flags")]
        run_program([*command, *DEFINES, *include, *language, source, "-o", made])
        objects.append(made)
    elf = folder / "editor.elf"
    link = ["avr-gcc", "-w", *flags(platform, "c.elf.flags"), "-mmcu=atmega2560", "-o", elf, *objects, "-lm"]
    run_program(link)
    return elf


def test_with_the_editors_flags_it_does_the_same_to_the_bit(stork: Program, tmp_path: Path) -> None:
    outcome = Scene(stork.plan).run(build(stork, tmp_path), tmp_path, 2.6)
    walked = [phase for _, phase, _ in moves(stork, outcome)]
    assert walked == ["standing", "lean_right", "lift_left", "lower_left"]
    found = verdict(stork, outcome)
    assert found.words.startswith("the machine did what the dry run does, to the bit, in all "), found.words
