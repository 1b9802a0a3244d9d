"""Cycles, instructions and stack: measured on programs of which they are known.

Cycles of the 8-bit core from Atmel's "AVR Instruction Set Manual" (DS40002198): NOP 1, MUL 2, RJMP 2, OUT 1,
PUSH 2, POP 2 on the ATmega family; PUSH moves the stack pointer by one byte. Remembered, not looked up.
"""

from pathlib import Path

import pytest

from sequencer.build.emulators import COUNTS_PER_INSTRUCTION, INPUT, OUTPUT
from sequencer.build.sizes import sizes_of
from sequencer.prove.controllers import Controller, build, controller
from sequencer.prove.program import add_port, write_files

AVR, CORTEX = ("atmega328p", "atmega2560"), ("cortex-m3", "cortex-m4f")

PROGRAM = """
#include "proof-port.h"
extern "C" int proof_program(void);
extern "C" int proof_program(void) {
  port_begin();
  port_before_tick();
  BODY
  port_after_tick();
  port_end();
  return 0;
}
#ifndef PROOF_WITHOUT_MAIN
int main() { return proof_program(); }
#endif
"""


def built(target: Controller, text: str, folder: Path) -> Path:
    files = {"test.cpp": text}
    sources = add_port(files, target.port)
    folder.mkdir()
    write_files(files, folder)
    return build(target, folder, ("test.cpp", *sources))


def measured(target: Controller, body: str, folder: Path) -> tuple[int, int]:
    """Run some instructions between the marks; return their count and the bytes of stack."""
    text = PROGRAM.replace("BODY", f'__asm__ volatile("{body}" ::: "memory");')
    program = built(target, text, folder)
    (folder / INPUT).write_bytes(b"\0")
    target.run(program, 60)
    data = (folder / OUTPUT).read_bytes()
    return int.from_bytes(data[:4], "little"), int.from_bytes(data[4:8], "little")


@pytest.mark.parametrize("name", AVR)
@pytest.mark.parametrize(
    ("body", "cycles"), [("nop", 1), ("mul r0, r0", 2), ("rjmp .+0", 2), ("push r0\\n pop r0", 4)]
)
def test_cycles_on_8_bits_are_those_of_the_manual(name: str, body: str, cycles: int, tmp_path: Path) -> None:
    few, _ = measured(controller(name), "\\n".join([body] * 3), tmp_path / "few")
    many, _ = measured(controller(name), "\\n".join([body] * 53), tmp_path / "many")
    assert many - few == 50 * cycles


@pytest.mark.parametrize("name", AVR)
def test_nothing_costs_next_to_nothing_on_8_bits(name: str, tmp_path: Path) -> None:
    cycles, stack = measured(controller(name), "", tmp_path / "none")
    assert 1 <= cycles <= 3  # the mark itself: LDI and OUT
    assert stack == 0


@pytest.mark.parametrize("name", AVR)
@pytest.mark.parametrize("depth", [1, 7, 40])
def test_stack_on_8_bits_is_seen_to_the_byte(name: str, depth: int, tmp_path: Path) -> None:
    body = "\\n".join(["push r0"] * depth + ["pop r0"] * depth)
    assert measured(controller(name), body, tmp_path / "deep")[1] == depth


@pytest.mark.parametrize("name", CORTEX)
@pytest.mark.parametrize("count", [0, 1, 10, 1000])
def test_instructions_on_32_bits_are_counted_one_by_one(name: str, count: int, tmp_path: Path) -> None:
    counts, _ = measured(controller(name), "\\n".join(["nop"] * count), tmp_path / "nops")
    assert abs(counts / COUNTS_PER_INSTRUCTION - count) <= 3  # what stands around the asm
    again, _ = measured(controller(name), "\\n".join(["nop"] * (count + 5)), tmp_path / "more")
    assert round((again - counts) / COUNTS_PER_INSTRUCTION) == 5


@pytest.mark.parametrize("name", CORTEX)
@pytest.mark.parametrize("depth", [1, 7, 40])
def test_stack_on_32_bits_is_seen_to_the_word(name: str, depth: int, tmp_path: Path) -> None:
    body = "\\n".join(["push {r0}"] * depth + ["pop {r0}"] * depth)
    assert measured(controller(name), body, tmp_path / "deep")[1] == 4 * depth


SIZED = """
#include <stdint.h>
extern const uint8_t constants[CONSTANTS];
const uint8_t constants[CONSTANTS] = {1};
static volatile uint8_t memory[MEMORY];
extern "C" int proof_program(void);
extern "C" int proof_program(void) {
  for (;;) { memory[memory[1]] = constants[memory[0]]; }
}
#ifndef PROOF_WITHOUT_MAIN
int main() { return proof_program(); }
#endif
"""


@pytest.mark.parametrize("name", [*AVR, *CORTEX])
def test_sizes_are_those_of_what_is_added(name: str, tmp_path: Path) -> None:
    target = controller(name)
    assert target.compiler is not None
    taken = []
    for constants, memory in ((100, 60), (200, 120)):
        text = SIZED.replace("CONSTANTS", str(constants)).replace("MEMORY", str(memory))
        program = built(target, text, tmp_path / str(constants))
        taken.append(sizes_of(target.compiler.size, program))
    more = taken[1].over(taken[0])
    assert more.flash == 100
    # constants of the 8-bit family lie in memory, too, unless they are told to stay in flash
    assert more.ram == (160 if name in AVR else 60)
