"""Parameters in EEPROM on an emulated board: kept, used again, and not used when anything is wrong."""

import binascii
import struct
from pathlib import Path

import pytest
from support.board.bench import Outcome, number_of, telemetry
from support.board.programs import Program, stork_program
from support.board.stork import Scene, verdict

from sequencer.generate.board_views import layout_sum
from sequencer.plan.tables import Plan


def block(plan: Plan, *values: float, version: int = 1, layout: int | None = None) -> bytes:
    """The block as the board writes it: GS, version, layout's sum, count, values, sum of all that."""
    known = layout_sum(plan.parameters) if layout is None else layout
    body = b"GS" + bytes([version]) + struct.pack(">H", known) + bytes([len(values)])
    body += struct.pack(f"<{len(values)}f", *values)
    return body + struct.pack(">H", binascii.crc_hqx(body, 0))


def started(program: Program, folder: Path, eeprom: bytes, commands: str = "lift?\n") -> Outcome:
    """Power on with this in the EEPROM, and say something at 0.25 s."""
    scene = Scene(program.plan)
    scene.enable_at = 0.0
    scene.bench.eeprom(eeprom)
    scene.bench.send(0.25, commands)
    return scene.run(program.built.elf, folder, 0.4)


def lift(outcome: Outcome) -> str:
    (at,) = [line.text for line in outcome.lines[0] if line.text.startswith("# lift=")]
    return at.partition("=")[2].partition(" ")[0]


def test_keep_writes_the_block_and_the_next_start_uses_it(stork: Program, tmp_path: Path) -> None:
    scene = Scene(stork.plan)
    scene.enable_at = 0.0
    scene.bench.send(0.1, "lift=35.5\n")
    scene.bench.send(0.15, "keep\n")
    first = scene.run(stork.built.elf, tmp_path, 0.4)
    assert first.said("# kept")
    (lean,) = [line[3] for line in [*telemetry(first, "P1"), ["P1", "", "", ""]]][:1]
    assert lean == ""  # nothing runs, so nothing is told
    counts = 569  # the knob's place is lean_angle's value
    expected = block(stork.plan, 10 + (19 - 10) * counts / 1023, 35.5)
    assert first.eeprom[: len(expected) - 2][:6] == expected[:6]
    assert first.eeprom[10:14] == struct.pack("<f", 35.5)
    size = len(expected)
    assert binascii.crc_hqx(first.eeprom[: size - 2], 0) == int.from_bytes(
        first.eeprom[size - 2 : size], "big"
    )
    again = Scene(stork.plan)
    again.bench.eeprom(first.eeprom)
    again.bench.send(0.25, "lift?\n")
    second = again.run(stork.built.elf, tmp_path, 0.7)
    assert second.said("# kept parameters are in use")
    assert lift(second) == "35.5"
    told = {line[2]: number_of(line[3]) for line in telemetry(second, "P1")}
    assert told["01"] == 35.5, "the log says so before the walk starts, so that it can be run again"
    assert not verdict(stork, second).differs


def damaged(plan: Plan) -> dict[str, tuple[bytes, str]]:
    good = block(plan, 15.0, 35.5)
    return {
        "wrong checksum": (
            good[:10] + bytes([good[10] ^ 1]) + good[11:],
            "with a wrong checksum are not used",
        ),
        "older version": (block(plan, 15.0, 35.5, version=0), "of another version are not used"),
        "newer version": (block(plan, 15.0, 35.5, version=2), "of another version are not used"),
        "another gait": (block(plan, 15.0, 35.5, layout=0x1234), "of another gait are not used"),
        "another count": (
            block(plan, 15.0, layout=layout_sum(plan.parameters)),
            "of another gait are not used",
        ),
        "nothing": (b"\xff" * 20, "no parameters are kept"),
        "zeros": (b"\0" * 20, "no parameters are kept"),
    }


@pytest.mark.parametrize(
    "kind", "wrong checksum,older version,newer version,another gait,another count,nothing,zeros".split(",")
)
def test_a_block_with_anything_wrong_is_not_used_and_left_alone(
    kind: str, stork: Program, tmp_path: Path
) -> None:
    content, said = damaged(stork.plan)[kind]
    outcome = started(stork, tmp_path, content)
    assert outcome.said(said)
    assert lift(outcome) == "40", "the file's value"
    assert outcome.eeprom[: len(content)] == content


def test_a_kept_value_outside_its_span_is_refused_and_the_others_are_used(
    stork: Program, tmp_path: Path
) -> None:
    outcome = started(stork, tmp_path, block(stork.plan, 15.0, 99.0))
    assert outcome.said("but for those outside their span")
    assert lift(outcome) == "40"
    outcome = started(stork, tmp_path, block(stork.plan, float("nan"), 35.5))
    assert outcome.said("but for those outside their span")
    assert lift(outcome) == "35.5"


def test_power_that_fails_while_it_keeps_costs_what_was_kept_and_no_more(
    stork: Program, tmp_path: Path
) -> None:
    """A real memory takes milliseconds for a byte; the emulator's takes none, so the cut is searched for."""
    old = block(stork.plan, 15.0, 35.5)
    torn = []
    for k in range(20):
        scene = Scene(stork.plan)
        scene.enable_at = 0.0
        scene.bench.eeprom(old)
        scene.bench.send(0.1, "lift=22.25\n")
        scene.bench.send(0.15, "keep\n")
        cut = scene.run(stork.built.elf, tmp_path, 0.1502 + 0.0001 * k)
        content = cut.eeprom[: len(old)]
        whole = binascii.crc_hqx(content[:-2], 0) == int.from_bytes(content[-2:], "big")
        if not whole:
            torn.append(cut.eeprom)
    assert torn
    after = started(stork, tmp_path, torn[len(torn) // 2])
    assert after.said("with a wrong checksum are not used")
    assert lift(after) == "40"


def test_forget_goes_back_to_the_file_now_and_at_the_next_start(stork: Program, tmp_path: Path) -> None:
    first = started(stork, tmp_path, block(stork.plan, 15.0, 35.5), "forget\n")
    assert first.said("# back to the file's values")
    assert first.eeprom[0] == 0xFF
    second = started(stork, tmp_path, first.eeprom)
    assert second.said("# no parameters are kept")
    assert lift(second) == "40"


def test_without_the_look_at_the_checksum_a_damaged_value_would_be_used(tmp_path: Path) -> None:
    """Planted: this is what the test of the wrong checksum would find."""
    program = stork_program(tmp_path, plant={"} else if (!same_sum) {": "} else if (false && !same_sum) {"})
    content, _ = damaged(program.plan)["wrong checksum"]
    assert lift(started(program, tmp_path, content)) != "40"
