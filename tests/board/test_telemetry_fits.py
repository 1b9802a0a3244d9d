"""Whether telemetry fits the console's baud: worked out at generation, and refused with what would fit."""

import itertools
from pathlib import Path

import pytest
from support.board.heron import GAIT as HERON
from support.board.programs import STORK_EDITS, TELEMETRY, edited
from support.commands import STORK

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.generate.board_telemetry import LONGEST_MOVE, LONGEST_WRITE, load_of, longest_line
from sequencer.generate.render import generate
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan


def stork(folder: Path, console: str) -> Plan:
    return load_plan(edited(STORK, folder, {TELEMETRY: f"console: {{port: serial, {console}}}"}))


def test_the_lengths_are_those_of_the_longest_lines() -> None:
    assert len("E1,FFFFFFFF,00,00,00,0400*FFFF\n") == LONGEST_MOVE
    assert len("P1,FFFFFFFF,00,#FFFFFFFF*FFFF\n") == LONGEST_WRITE


def test_the_longest_line_of_the_stork_is_added_up_by_hand(tmp_path: Path) -> None:
    plan = stork(tmp_path, "baud: 1000000, telemetry: 10 ms")
    line = (
        "T1,FFFFFFFF,2,FF,3F,3,1,FFFF" + 3 * ",#FFFFFFFF" + 7 * ",1023" + (3 + 6) * ",#FFFFFFFF" + "*FFFF\n"
    )
    assert plan.wiring is not None
    assert plan.wiring.console is not None
    assert longest_line(plan, plan.wiring.console) == len(line)


def test_a_period_that_is_too_short_is_refused_and_the_shortest_is_named(tmp_path: Path) -> None:
    """At 115,200 baud and 80 % a line of 185 bytes with 61 beside it every 30 ms is the most that fits."""
    plan = stork(tmp_path, "baud: 115200, telemetry: 20 ms")
    with pytest.raises(FileErrors) as caught:
        generate(plan, "board")
    (finding,) = caught.value.findings
    assert finding.place.file.endswith("stork.machine.yaml")
    assert "% of 115200 baud" in finding.message
    assert finding.fix.startswith("telemetry: 30 ms, ")
    (tmp_path / "fits").mkdir()
    assert generate(stork(tmp_path / "fits", "baud: 115200, telemetry: 30 ms"), "board")


@pytest.mark.parametrize("telemetry_ms", [10, 20, 30, 50, 100])
@pytest.mark.parametrize("baud", [19_200, 57_600, 115_200, 250_000, 1_000_000])
def test_what_is_named_fits_and_one_tick_less_does_not(baud: int, telemetry_ms: int, tmp_path: Path) -> None:
    plan = stork(tmp_path, f"baud: {baud}, telemetry: {telemetry_ms} ms")
    assert plan.wiring is not None
    console = plan.wiring.console
    assert console is not None
    try:
        generate(plan, "board")
    except FileErrors as refused:
        named = int(refused.findings[0].fix.split()[1])
        assert load_of(plan, console, baud, telemetry_ms).share > 0.8
        assert load_of(plan, console, baud, named).share <= 0.8
        assert named == 10 or load_of(plan, console, baud, named - 10).share > 0.8
    else:
        assert load_of(plan, console, baud, telemetry_ms).share <= 0.8


def test_a_port_over_usb_has_no_baud_to_fit(tmp_path: Path) -> None:
    edits = {
        "board: uno": "board: leonardo",
        "baud: 250000, telemetry: 20 ms": "baud: 9600, telemetry: 10 ms",
    }
    plan = load_plan(edited(HERON, tmp_path, edits))
    assert "heron_stretch_board.cpp" in generate(plan, "board")


def test_a_machine_without_wiring_is_one_clear_error(tmp_path: Path) -> None:
    gait = edited(STORK, tmp_path, {})
    machine = tmp_path / "stork.machine.yaml"
    text = machine.read_text(encoding="utf-8")
    machine.write_text(text[: text.index("\nwiring:")] + "\n", encoding="utf-8")
    with pytest.raises(MisuseError, match="machine stork does not say what is connected where"):
        generate(load_plan(gait), "board")


def test_a_missing_wire_is_an_error_for_a_board_only(tmp_path: Path) -> None:
    plan = load_plan(edited(STORK, tmp_path, {"    battery: {analog: A6}\n": ""}))
    assert generate(plan, "portable")
    with pytest.raises(FileErrors, match="battery has no wire"):
        generate(plan, "board")


def test_a_machine_that_nobody_could_enable_is_refused(tmp_path: Path) -> None:
    edits = {
        "  console: {port: serial, baud: 250000, telemetry: 20 ms}\n": "",
        "{port: serial, fields: 2}": "{port: serial, baud: 250000, fields: 2}",
        "button: A2": "debounce: 20 ms",
        "switches: [motors, slow]": "switches: [motors]",
        ", {switch: slow}": "",
    }
    plan = load_plan(edited(HERON, tmp_path, edits))
    with pytest.raises(MisuseError, match="nothing can enable the motors"):
        generate(plan, "board")


def test_a_sketch_is_called_as_its_folder_and_a_folder_that_cannot_be_one_is_refused(tmp_path: Path) -> None:
    plan = load_plan(edited(STORK, tmp_path, STORK_EDITS))
    assert "my-stork.ino" in generate(plan, "board", sketch="my-stork")
    with pytest.raises(MisuseError, match="a sketch cannot be called"):
        generate(plan, "board", sketch="my stork")


# ---- Facts of the trade: common practice, no source ----


def test_an_angle_of_four_decimals_at_50_hz_takes_a_25th_of_115200_baud() -> None:
    """Common practice, no source: such a line has about 10 bytes, 500 bytes a second, 4.3 % of the baud."""
    line = f"{-12.3456:.4f}\r\n"
    assert len(line) == 10
    rate = len(line) * 50
    assert rate == 500
    assert round(100 * rate * 10 / 115_200, 1) == 4.3


def test_a_tilt_of_50_hz_is_fresh_in_every_second_tick_of_10_ms() -> None:
    """Common practice, no source: a module's stream is its base rate over 1 + n, here 200 Hz over 1 + 3."""
    rate = 200 / (1 + 3)
    assert rate == 50
    ticks = [round(1000 / rate * k) // 10 for k in range(5)]
    assert [b - a for a, b in itertools.pairwise(ticks)] == [2, 2, 2, 2]
    assert (ticks[2] - ticks[0]) * 10 == 40, "the third fresh one comes 40 ms after the first"
