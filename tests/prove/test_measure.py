"""What a program takes of a controller, and whether that is too much."""

from dataclasses import replace
from pathlib import Path

import pytest
from support.gaits import plan_of
from support.wired import wired

from sequencer.base.places import Place
from sequencer.build.arduino_core import build_sketch
from sequencer.generate.render import generate
from sequencer.plan.boards import BOARDS
from sequencer.plan.budget_tables import Budget, Limit
from sequencer.plan.build import parse_plan
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import controller
from sequencer.prove.measure import Measured, measure, misfits
from sequencer.prove.report import Cost

PLACE = Place("trial.machine.yaml", 7, 3)
COST = Cost("cycles", 64_000, 50_000.0, 16_000_000, 0.4)
DONE = Measured(
    "uno", "Uno", 10, True, flash=20_000, flash_of=32_256, ram=1200, ram_of=2048, stack=200, cost=COST
)


@pytest.fixture(scope="module")
def plan() -> Plan:
    return plan_of()


@pytest.fixture(scope="module")
def sketch(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Path]:
    plan = parse_plan(wired())
    folder = tmp_path_factory.mktemp("sketches") / "trial"
    folder.mkdir()
    for name, text in generate(plan, "board", sketch="trial").items():
        (folder / name).write_text(text)
    return plan, folder


def test_the_sequencer_alone_is_measured_on_an_emulated_controller(plan: Plan) -> None:
    done = measure(plan, "atmega328p")
    assert (done.package, done.full, done.reason) == ("", "", "")
    assert done.flash is not None
    assert done.ram is not None
    assert done.stack is not None
    assert done.cost is not None
    assert 500 < done.flash < done.flash_of == 32_768
    assert 0 < done.stack < done.ram_of == 2048
    assert 0 < done.cost.share < 1
    assert not misfits(done, None, PLACE)


def test_a_board_s_program_is_as_long_as_the_file_that_is_flashed(
    sketch: tuple[Plan, Path], tmp_path: Path
) -> None:
    plan, folder = sketch
    done = measure(plan, "mega2560", folder)
    assert (done.reason, done.output, done.package) == ("", "", "")
    flashed = build_sketch(BOARDS["mega2560"], folder, tmp_path / "out").hex
    assert done.flash == bytes_in(flashed)
    assert done.flash_of == BOARDS["mega2560"].flash


def bytes_in(path: Path) -> int:
    """Count the bytes of data in a file (Intel, Hexadecimal Object File Format Specification, 1988)."""
    rows = [bytes.fromhex(line[1:]) for line in path.read_text().splitlines()]
    assert all(sum(row) % 256 == 0 for row in rows)
    return sum(row[0] for row in rows if row[3] == 0)


def test_what_does_not_compile_is_told_with_the_compiler_s_words(
    sketch: tuple[Plan, Path], tmp_path: Path
) -> None:
    plan, folder = sketch
    (tmp_path / "own.cpp").write_text("int broken( { }\n")
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    done = measure(plan, "mega2560", tmp_path)
    assert done.flash is None
    assert "does not compile" in done.reason
    assert "own.cpp:1" in done.output


def test_a_program_that_the_linker_finds_no_room_for_is_told(
    sketch: tuple[Plan, Path], tmp_path: Path
) -> None:
    plan, folder = sketch
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    more = '__asm__(".section .init9,\\"ax\\",@progbits\\n.fill 130000, 2, 0\\n.text\\n");\n'  # 260,000 bytes
    (tmp_path / "own.cpp").write_text(more)
    done = measure(plan, "mega2560", tmp_path)
    assert done.full
    assert [finding.code for finding in misfits(done, None, PLACE)] == ["no-room"]


def test_memory_that_is_taken_by_the_user_s_own_files_counts(
    sketch: tuple[Plan, Path], tmp_path: Path
) -> None:
    plan, folder = sketch
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "own.cpp").write_text(
        "static volatile char big[8000];\n__attribute__((constructor)) static void fill() { big[7] = 1; }\n"
    )
    done = measure(plan, "mega2560", tmp_path)
    found = misfits(done, None, PLACE)
    assert [finding.code for finding in found] == ["no-room"]


def test_a_program_too_large_for_the_memory_is_told() -> None:
    done = replace(DONE, ram=1700, stack=200)
    (finding,) = misfits(done, None, PLACE)
    assert (finding.code, finding.place) == ("no-room", PLACE)
    assert "2060 of 2048 bytes of memory" in finding.message  # 1700 + 200 + 160 around the tick


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"flash": 32_257}, "flash"),
        ({"cost": replace(COST, share=1.01)}, "101% of a tick"),
    ],
)
def test_what_cannot_fit_is_an_error(changed: dict[str, object], word: str) -> None:
    (finding,) = misfits(replace(DONE, **changed), None, PLACE)  # type: ignore[arg-type]
    assert finding.code == "no-room"
    assert word in finding.message


def limits(flash: Limit | None = None, ram: Limit | None = None, tick: Limit | None = None) -> Budget:
    return Budget("uno", flash, ram, tick, PLACE)


def limit(amount: float, *, share: bool = False) -> Limit:
    return Limit(amount, share, Place("trial.machine.yaml", 8, 12))


@pytest.mark.parametrize(
    ("budget", "fits"),
    [
        (limits(limit(20_000)), True),
        (limits(limit(19_999)), False),
        (limits(limit(0.63, share=True)), True),  # 20,000 of 32,256 are 62.003 %
        (limits(limit(0.62, share=True)), False),
        (limits(ram=limit(1400)), True),
        (limits(ram=limit(1399)), False),
        (limits(tick=limit(4.0)), True),
        (limits(tick=limit(3.9)), False),
        (limits(tick=limit(0.4, share=True)), True),
        (limits(tick=limit(0.39, share=True)), False),
        (limits(), True),
    ],
)
def test_a_budget_is_kept_up_to_the_last_byte(budget: Budget, fits: bool) -> None:
    found = misfits(DONE, budget, PLACE)
    assert (found == []) == fits
    assert all((f.code, f.place.line) == ("over-budget", 8) for f in found)


def test_what_was_not_measured_breaks_no_budget() -> None:
    nothing = Measured("uno", "Uno", 10, False, flash_of=32_256, ram_of=2048, package="gcc-avr")
    assert misfits(nothing, limits(limit(1), limit(1), limit(1)), PLACE) == []


def test_without_the_compiler_the_package_is_named(
    plan: Plan, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    done = measure(plan, "atmega328p")
    assert (done.flash, done.cost) == (None, None)
    assert "gcc-avr" in done.package


def test_controllers_that_a_budget_may_name_are_those_that_are_emulated() -> None:
    from sequencer.plan.budget import CONTROLLERS as NAMED
    from sequencer.prove.controllers import CONTROLLERS

    assert [c.name for c in CONTROLLERS if c.name != "host"] == list(NAMED)
    assert {b.mcu for b in BOARDS.values()} == {"atmega328p", "atmega2560", "atmega32u4"}
    assert controller("atmega328p").flash == 32_768
