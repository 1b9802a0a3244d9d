"""How much flash and memory a linked program takes."""

from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import ToolError
from sequencer.build.programs import run_program


@dataclass(frozen=True, slots=True)
class Sizes:
    """Bytes of flash (code, constants, start values) and of memory that is taken before the program runs."""

    flash: int
    ram: int

    def over(self, other: "Sizes") -> "Sizes":
        """Tell how much more this is than another."""
        return Sizes(self.flash - other.flash, self.ram - other.ram)


def sizes_of(program: str, path: Path) -> Sizes:
    """Ask a `size` program (GNU binutils, such as ``avr-size``) about a linked program.

    Not about an object: on the 8-bit family it is the linker that moves constants into memory.
    Raises ToolError if it fails or says something else than expected.
    """
    lines = run_program([program, "-B", path]).splitlines()
    try:
        text, data, bss = (int(number) for number in lines[1].split()[:3])
    except (IndexError, ValueError) as error:
        raise ToolError(f"{program} was not understood", output="\n".join(lines)) from error
    return Sizes(text + data, data + bss)
