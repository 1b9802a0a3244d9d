"""Numbers in text, as the board reads and writes them, against Python's and numpy's own conversion."""

import re
import struct
from pathlib import Path
from random import Random

import numpy as np
import pytest
from support.board.bench import Bench
from support.board.programs import STORK_EDITS, edited, planted
from support.builds import write_files
from support.commands import STORK

from sequencer.build.arduino_core import build_sketch
from sequencer.generate.board import io_files
from sequencer.plan.boards import BOARDS
from sequencer.plan.build import load_plan

# reads a line as a number and tells its bits; after a = also its short form and its form for people
SKETCH = """#include "stork_io.h"
namespace io = stork_io;
void setup() { io::begin(); }
void loop() {
  io::listen();
  const char* line = io::line_from(io::from_console);
  if (line != nullptr) {
    io::Number number;
    io::clear(number);
    const bool all = line[0] == '=';
    for (uint8_t i = all ? 1U : 0U; line[i] != '\\0'; ++i) {
      io::put(number, line[i]);
    }
    float x = 0.0F;
    io::open_line();
    if (io::value_of(number, x)) {
      io::put_bits(x);
      if (all) {
        io::put(' ');
        io::put_short(x);
        io::put(' ');
        io::put_plain(x);
      }
    } else {
      io::put('-');
    }
    static_cast<void>(io::close_checked_line());
    io::done(io::from_console);
  }
}
"""
GRAMMAR = re.compile(r"[ \t]*[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?[ \t]*")
BAUDS = {0: 1_000_000}


def build_reader(folder: Path, fault: dict[str, str]) -> Path:
    files = io_files(load_plan(edited(STORK, folder, STORK_EDITS)), send_size=1000)
    sketch = folder / "numbers"
    sketch.mkdir()
    write_files([*planted(files, fault).items(), ("numbers.ino", SKETCH)], sketch)
    return build_sketch(BOARDS["mega2560"], sketch, folder / "out").elf


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_reader(tmp_path_factory.mktemp("numbers"), {})


def read_by_board(texts: list[str], program: Path, folder: Path) -> list[str]:
    bench = Bench("mega2560", BAUDS)
    at = 0.05
    for text in texts:
        bench.send(at, f"{text}\n")
        at += 0.003 if text.startswith("=") else 0.001
    outcome = bench.run(program, folder, at + 0.05)
    bodies = [line.text.rpartition("*")[0] for line in outcome.lines[0]]
    assert len(bodies) == len(texts)
    return bodies


def bits(x: "np.float32 | float") -> str:
    return f"#{struct.unpack('<I', struct.pack('<f', x))[0]:08X}"


def written(rng: Random) -> str:
    """A number of up to 7 significant digits, the last of them at 10^-8 to 10^8."""
    count = rng.randint(1, 7)
    digits = str(rng.randint(10 ** (count - 1), 10**count - 1))
    last = rng.randint(-8, 8)
    sign = rng.choice(["", "-", "+"])
    form = rng.randrange(3)
    if form == 0:
        return f"{sign}{digits}e{last:+d}" if rng.random() < 0.5 else f"{sign}{digits}E{last}"
    if last >= 0:
        return f"{sign}{digits}{'0' * min(last, 9 - count)}"
    padded = digits.rjust(1 - last, "0")
    zeros = "0" * rng.randint(0, 3)
    return f"{sign}{padded[:last]}.{padded[last:]}{zeros}" + rng.choice(["", " ", "e0", "e-0"])


def test_numbers_of_seven_digits_are_read_as_the_dry_run_reads_them(program: Path, tmp_path: Path) -> None:
    rng = Random("numbers")
    # what a tilt module sends: an angle with four decimals
    texts = [f"{rng.uniform(-180, 180):.4f}" for _ in range(700)] + [written(rng) for _ in range(1300)]
    texts += ["0", "-0", "0.0", "-0.0", "1023", "00012.50", "0.00000001", "9999999e8", " 1.5", "2 ", "1E3"]
    found = read_by_board(texts, program, tmp_path)
    wrong = [
        (text, body)
        for text, body in zip(texts, found, strict=True)
        if body.split()[0] != bits(np.float32(float(text)))
    ]
    assert wrong == []


def test_what_is_written_reads_back(program: Path, tmp_path: Path) -> None:
    rng = Random("written")
    texts = [str(rng.randint(0, 70000)) for _ in range(100)] + [written(rng) for _ in range(300)]
    texts += ["65535", "65536", "65535.5", "-0", "1e-30", "3.4e38", "999999.5", "0.1", "123456", "1234567"]
    found = read_by_board([f"={text}" for text in texts], program, tmp_path)
    for body in found:
        exact, short, plain = body.split()
        value = np.uint32(int(exact[1:], 16)).view(np.float32)
        small = 0 <= value <= 65535 and value == int(value) and not np.signbit(value)
        assert short == (str(int(value)) if small else exact)
        assert float(plain) == pytest.approx(float(value), rel=2e-5)


def test_longer_numbers_are_off_by_one_step_at_most(program: Path, tmp_path: Path) -> None:
    rng = Random("long")
    texts = [f"{rng.uniform(-100, 100):.{rng.randint(7, 14)}f}" for _ in range(300)]
    texts += [f"{rng.uniform(1, 10):.6f}e{rng.randint(-30, 30)}" for _ in range(100)]
    for text, body in zip(texts, read_by_board(texts, program, tmp_path), strict=True):
        right = np.float32(float(text))
        value = np.uint32(int(body.split()[0][1:], 16)).view(np.float32)
        steps = abs(float(value) - float(right)) / float(np.spacing(np.abs(right)))
        assert steps <= (4 if "e" in text else 1), (text, body)


def test_what_is_no_number_is_none(program: Path, tmp_path: Path) -> None:
    rng = Random("none")
    texts = [
        "x",
        ".",
        "5.",
        ".5",
        "1..2",
        "1.2.3",
        "--1",
        "+-1",
        "1-",
        "e5",
        "1e",
        "1e+",
        "1 2",
        "0x10",
        "1,5",
    ]
    texts += ["nan", "inf", "-inf", "1e39", "9" * 45, "1_000", "1e5000000", "+", "-", " ", "1.5e3.2", "1.-2"]
    texts += [
        "".join(rng.choice("0123456789+-.eE ,x") for _ in range(rng.randint(1, 12))) for _ in range(500)
    ]
    for text, body in zip(texts, read_by_board(texts, program, tmp_path), strict=True):
        number = GRAMMAR.fullmatch(text) and abs(float(text)) < 3.4028235e38
        assert (body == "-") == (not number), (text, body)


def test_digits_that_are_rounded_at_each_place_would_be_found(tmp_path: Path) -> None:
    fault = {
        "value = value / ten_to(part);": "for (uint8_t k = 0U; k < part; ++k) { value = value / 10.0F; }"
    }
    program = build_reader(tmp_path, fault)
    rng = Random("fault")
    texts = [f"{rng.uniform(-180, 180):.4f}" for _ in range(200)]
    found = read_by_board(texts, program, tmp_path)
    assert any(body != bits(np.float32(float(text))) for text, body in zip(texts, found, strict=True))
