"""Warnings and notes about the wiring; each code's own example is in the registry."""

from support.gaits import gait
from support.wired import SIGNALS, wired

from sequencer.base.findings import Severity
from sequencer.check import check
from sequencer.plan.build import parse_plan

WIRING_CODES = {
    "unknown-board",
    "no-interrupt",
    "shared-port",
    "line-rate",
    "raw-counts",
    "one-way",
    "programming-port",
    "logic-levels",
    "idle-knob",
    "no-cut",
}


def found(text: str) -> dict[str, Severity]:
    """Give the codes about the wiring that a gait raises, with their severities."""
    return {f.code: f.severity for f in check(parse_plan(text)) if f.code in WIRING_CODES}


def test_sound_wiring_raises_nothing() -> None:
    assert found(wired()) == {}
    assert found(gait()) == {}


def test_a_voltage_above_the_board_s_is_a_warning_one_below_a_note() -> None:
    def levels(volts: str) -> dict[str, Severity]:
        return found(wired(("fields: 3", f"fields: 3, levels: {volts}")))

    assert levels("12 V") == {"logic-levels": Severity.WARNING}
    assert levels("3.3 V") == {"logic-levels": Severity.NOTE}
    assert levels("5 V") == {}


def test_signals_that_share_a_line_come_at_one_rate() -> None:
    body = "body: {unit: deg, span: [-60, 60], every: 20 ms}"
    assert body in SIGNALS
    text = wired(signals=SIGNALS.replace(body, body.replace("20 ms", "50 ms")))
    assert found(text) == {"line-rate": Severity.WARNING}


def test_an_angle_at_50_hz_is_4_percent_of_115200_baud() -> None:
    # 10 bytes a number, 500 bytes a second, 4.3 % of 115,200 baud (common practice): far from too much;
    # 3 numbers at 9600 baud are: 3 * 10 * 10 / 0.02 s = 15,000 baud
    fast = ("baud: 57600, fields: 3", "baud: 115200, fields: 3")
    assert found(wired(fast)) == {}
    slow = check(parse_plan(wired(("baud: 57600, fields: 3", "baud: 9600, fields: 3"))))
    assert ["156%" in f.message for f in slow if f.code == "line-rate"] == [True]


def test_one_pwm_pin_is_enough_for_what_is_never_negative() -> None:
    one = ("pwm: 5, direction: 28", "pwm: 5")
    outputs = "    knee_motor: {slew: 4 /s}\n    horn: {pulse: true}"
    assert found(wired(one)) == {"one-way": Severity.WARNING}
    text = wired(one)
    assert outputs in text
    assert found(text.replace("knee_motor: {slew: 4 /s}", "knee_motor: {span: [0, 1]}")) == {}


def test_an_unknown_board_is_one_warning_and_nothing_else() -> None:
    assert found(wired(("mega2560", "my_board"), ("pwm: 5, ", "pwm: 200, "))) == {
        "unknown-board": Severity.WARNING
    }


def test_without_enable_and_stop_contact_both_are_noted() -> None:
    text = wired(("    enable: {pin: 26, button: 27}\n", ""), ("    stop_contact: {pin: 2}\n", ""))
    notes = [f for f in check(parse_plan(text)) if f.code == "no-cut"]
    assert [f.severity for f in notes] == [Severity.NOTE]
    assert len(notes[0].notes) == 1  # told once, the other beside it


def test_a_board_is_told_as_it_was_probably_meant() -> None:
    for written, meant in (("mega", "mega2560"), ("Uno", "uno"), ("promicro", "micro")):
        findings = check(parse_plan(wired(("mega2560", written))))
        (finding,) = [f for f in findings if f.code == "unknown-board"]
        assert finding.fix.startswith(f"did you mean {meant}?")
