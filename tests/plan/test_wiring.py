"""The wiring of a machine: from the file to its tables, and what is refused at which place."""

import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from support.gaits import errors_in, gait, spot
from support.wired import wired

from sequencer.base.binary32 import load_f32
from sequencer.base.errors import FileErrors
from sequencer.base.findings import Finding, Severity
from sequencer.plan.build import machine_plan, parse_plan
from sequencer.plan.dump import as_data
from sequencer.plan.tables import Plan
from sequencer.plan.wiring import unwired
from sequencer.plan.wiring_ports import MOST_BAUD_ERROR, made_baud
from sequencer.plan.wiring_tables import Wiring


def wiring_of(*changes: tuple[str, str]) -> Wiring:
    wiring = parse_plan(wired(*changes)).wiring
    assert wiring is not None
    return wiring


def only_error(text: str) -> Finding:
    found = errors_in(text)
    assert len(found) == 1, found
    return found[0]


def place_of(finding: Finding) -> str:
    return f"{finding.place.line}:{finding.place.column}"


# what is read


def test_signals_come_from_pins_and_from_fields_counted_from_0() -> None:
    wiring = wiring_of()
    assert [(w.signal, w.kind, w.pin.number if w.pin else None, w.line, w.field) for w in wiring.signals] == [
        (0, "line", None, 0, 0),
        (1, "line", None, 0, 1),
        (2, "line", None, 0, 2),
        (3, "analog", 54, None, None),
    ]
    assert [(p.name, p.baud) for p in wiring.ports] == [
        ("serial", 115_200),
        ("serial1", 57_600),
        ("serial2", 38_400),
    ]
    assert [(line.name, line.port, line.fields) for line in wiring.lines] == [("tilts", 1, 3)]
    assert wiring.remote_port == 2


def test_contacts_pull_to_ground_and_are_debounced_unless_the_file_says_otherwise() -> None:
    wiring = wiring_of(("go: {pin: 22}", "go: {pin: 22, active: high, debounce: 5 ms}"))
    (go,) = wiring.inputs
    assert (go.kind, go.index, go.contact.active_low, go.contact.debounce_ms) == ("event", 0, False, 5)
    step = wiring_of().step
    assert step is not None
    assert (step.pin.number, step.active_low, step.debounce_ms) == (30, True, 20)


def test_outputs_reach_their_motors_in_four_ways() -> None:
    ways = {
        "pwm: 5, direction: 28": ("pwm_direction", 5, 28, False),
        "pwm: 5": ("pwm", 5, None, False),
        "forward: 3, backward: 5, inverted: true": ("two_pwm", 3, 5, True),
        "servo: 45": ("servo", 45, None, False),
    }
    for text, expected in ways.items():
        wiring = wiring_of(("pwm: 5, direction: 28", text))
        (motor,) = wiring.motors
        second = motor.second.number if motor.second else None
        assert (motor.kind, motor.pin.number, second, motor.inverted) == expected
        assert motor.pulse_us == (1000, 2000)
    (horn,) = wiring_of().pulses
    assert (horn.pulse, horn.pin.number, horn.active_low, horn.on_ms) == (0, 40, False, 200)


def test_a_servo_goes_over_the_span_of_its_setpoint_or_over_what_the_file_says() -> None:
    (servo,) = wiring_of().servos
    assert (servo.pulse_us, servo.over) == ((1000, 2000), (-20.0, 20.0))
    (servo,) = wiring_of(
        ("{servo: 33}", "{servo: 33, pulse: [0.6 ms, 2400 us], over: [15 deg, -15 deg]}")
    ).servos
    assert (servo.pulse_us, servo.over) == ((600, 2400), (15.0, -15.0))


def test_standing_still_is_judged_by_noise_or_by_span() -> None:
    plan = parse_plan(wired(("watchdog", "still: {for: 3 s, within: {body: 0.1 rad}}\n    watchdog")))
    wiring = plan.wiring
    assert wiring is not None
    assert wiring.still.for_ms == 3000
    # 2 % of -45 .. 45 deg; 0.1 rad is 5.7295779513 deg (ISO 80000-3: 1 rad = 180 deg / pi)
    assert wiring.still.within[0] == load_f32(1.8)
    assert wiring.still.within[2] == pytest.approx(5.7295779513, rel=1e-7)


def test_wires_may_be_written_once_for_several() -> None:
    once = wired(
        (
            "left_tilt: {line: tilts, field: 1}\n",
            "<side>_tilt:\n        for_each: {side: [left, right], n: [1, 2]}\n",
        ),
        ("      right_tilt: {line: tilts, field: 2}\n", "        line: tilts\n        field: <n>\n"),
    )
    plan, other = parse_plan(once).wiring, wiring_of()
    assert plan is not None
    assert [(w.signal, w.field) for w in plan.signals] == [(w.signal, w.field) for w in other.signals]


def test_wiring_changes_nothing_of_the_meaning_and_stands_in_the_data() -> None:
    plan = parse_plan(wired())
    bare = replace(plan, wiring=None)
    text = wired()
    start, end = text.index("  wiring:"), text.index("parameters:")
    assert parse_plan(text[:start] + text[end:]).sha == plan.sha
    assert as_data(plan)["wiring"]["board"] == "mega2560"
    assert as_data(bare)["wiring"] is None


def test_an_unknown_board_s_pins_are_handed_on_as_they_are_written() -> None:
    wiring = wiring_of(("mega2560", "my_board"), ("analog: A0", "analog: PA_5"), ("serial2", "serial9"))
    pin = wiring.signals[3].pin
    assert pin is not None
    assert (pin.text, pin.number) == ("PA_5", None)


# what is refused

REFUSED = {
    # change: (code, piece of the text where it is told, which occurrence, a word of the message)
    ("pwm: 5, ", "pwm: 29, "): ("bad-pin", "29, d", 1, "PWM"),
    ("pwm: 5, direction: 28", "pwm: 5, direction: 5"): ("pin-twice", "5}", 1, "already"),
    ("analog: A0", "analog: 34"): ("bad-pin", "34}", 1, "analog"),
    ("analog: A0", "analog: A16"): ("bad-pin", "A16", 1, "no pin A16"),
    ("knobs: {limit: A8}", "knobs: {limit: 62, angle: A8}"): ("pin-twice", "A8", 1, "knob"),
    ("go: {pin: 22}", "go: {pin: 19}"): ("pin-twice", "19}", 1, "receive pin of serial1"),
    ("stop_contact: {pin: 2}", "stop_contact: {pin: 0}"): ("pin-twice", "0}", 3, "receive pin of serial"),
    ("port: serial1, baud: 57600", "port: serial4, baud: 57600"): ("bad-port", "serial4", 1, "serial4"),
    ("port: serial1, baud: 57600", "port: serial2, baud: 57600"): ("bad-port", "38400", 1, "57600"),
    ("baud: 38400", "baud: 230400"): ("bad-port", "230400", 1, "222222"),
    ("field: 3}", "field: 2}"): ("bad-wire", "2}\n      knee", 1, "right_tilt"),
    ("field: 3}", "field: 4}"): ("bad-wire", "4}\n      knee", 1, "beyond"),
    ("body: {line: tilts", "body: {line: tilt"): ("unknown-name", "tilt, field", 1, "no line tilt"),
    ("body: {line", "bodi: {line"): ("unknown-name", "bodi", 1, "bodi"),
    ("events: {go:", "events: {goo:"): ("unknown-name", "goo", 1, "goo"),
    ("{analog: A0}", "{analog: A0, hook: true}"): ("bad-wire", "{analog: A0, hook", 1, "one place"),
    ("{analog: A0}", "{analog: A0, field: 1}"): ("bad-wire", "{analog: A0, field", 1, "line"),
    ("pwm: 5, direction: 28", "pin: 28"): ("bad-wire", "knee_motor: {pin", 1, "motor"),
    ("pwm: 5, direction: 28", "forward: 5"): ("bad-wire", "{forward", 1, "backward"),
    ("pwm: 5, direction: 28", "pwm: 5, pulse: [1 ms, 2 ms]"): ("bad-wire", "{pwm: 5, pulse", 1, "pulse"),
    ("horn: {pin: 40, on_for: 200 ms}", "horn: {pwm: 8}"): ("bad-wire", "horn: {pwm", 1, "on or off"),
    ("{servo: 33}", "{servo: 33, pulse: [1 ms, 1000 us]}"): ("out-of-span", "[1 ms", 1, "servo"),
    ("{servo: 33}", "{servo: 33, over: [3 deg, 3 deg]}"): ("out-of-span", "[3 deg", 1, "same value"),
    ("{servo: 33}", "{servo: 33, over: [3 mm, 9 mm]}"): ("bad-unit", "[3 mm", 1, "mm"),
    ("telemetry: 100 ms", "telemetry: 25 ms"): ("out-of-span", "25 ms", 1, "multiple"),
    ("watchdog: 250 ms", "watchdog: 15 ms"): ("out-of-span", "15 ms", 1, "tick of 10 ms"),
    ("watchdog: 250 ms", "watchdog: 9 s"): ("out-of-span", "9 s", 1, "watchdog"),
    ("    watchdog", "    still: {within: {knee: 0 mm}}\n    watchdog"): (
        "out-of-span",
        "0 mm}}",
        1,
        "stiller",
    ),
    ("    enable", "    switches: {motors: {pin: 41}}\n    enable"): (
        "bad-wire",
        "motors: {pin",
        1,
        "remote",
    ),
    ("    knobs", "    noobs: {}\n    knobs"): ("unknown-key", "noobs", 1, "noobs"),
    ("pin: 40", "pin: D40"): ("bad-pin", "D40", 1, "no pin D40"),
    ("port: serial2", "port: Serial2"): ("wrong-type", "Serial2", 1, "no serial port"),
    ("board: mega2560", "board: [mega]"): ("wrong-type", "[mega]", 1, "board"),
}


@pytest.mark.parametrize("change", REFUSED, ids=lambda change: change[1].strip().partition("\n")[0])
def test_one_slip_is_one_error_at_its_place(change: tuple[str, str]) -> None:
    code, piece, nth, word = REFUSED[change]
    text = wired(change)
    finding = only_error(text)
    assert (finding.code, place_of(finding)) == (code, spot(text, piece, nth))
    assert word in finding.message
    assert finding.expected or finding.fix


def test_a_pin_is_told_as_it_was_probably_meant() -> None:
    assert only_error(wired(("pin: 40", "pin: D40"))).fix == "write 40"
    assert only_error(wired(("analog: A0", "analog: a0"))).fix == "write A0"
    assert only_error(wired(("port: serial2", "port: Serial2"))).fix == "write serial2"
    assert only_error(wired(("body: {line", "bodi: {line"))).fix == "did you mean body?"


def test_two_names_of_one_pin_are_one_pin() -> None:
    # on the Leonardo A8 is also pin 8 (the remarks in its variant: D26 / D8 - A8 - PB4)
    small = """
    board: leonardo
    signals: {left_tilt: {analog: A8}}
    outputs: {horn: {pin: 8}}"""
    text = gait(outputs=f"    horn: {{pulse: true}}\n  wiring:{small}")
    assert only_error(text).code == "pin-twice"


def test_servos_take_the_pwm_of_the_pins_beside_them() -> None:
    text = wired(("pwm: 5, direction: 28", "pwm: 44, direction: 28"))
    assert "servos" in only_error(text).message
    alone = wired(
        ("pwm: 5, direction: 28", "pwm: 44, direction: 28"), ("    setpoints: {lean: {servo: 33}}\n", "")
    )
    assert errors_in(alone) == []


def test_a_port_without_a_machine_s_remote_is_refused() -> None:
    text = wired(inputs="  events: [go, halt]")
    assert [f.code for f in errors_in(text)] == ["bad-wire"]


def test_a_broken_wire_is_told_once() -> None:
    text = wired(("tilts: {port: serial1, baud: 57600, fields: 3}", "tilts: {port: serial1, fields: 300}"))
    assert [f.code for f in errors_in(text)] == ["wrong-type"]


# bauds


@pytest.mark.parametrize(
    ("baud", "error"),
    [
        (9600, 0.002),
        (38_400, 0.002),
        (57_600, 0.021),
        (115_200, 0.021),
        (230_400, -0.035),
        (250_000, 0),
        (1_000_000, 0),
    ],
)
def test_bauds_are_off_by_as_much_as_the_data_sheet_says(baud: int, error: float) -> None:
    # ATmega328P data sheet, "Examples of UBRRn settings", 16 MHz, double speed (from memory); the
    # boards' core makes 57,600 at single speed
    assert made_baud(16_000_000, baud) / baud - 1 == pytest.approx(error, abs=6e-4)


@pytest.mark.parametrize("baud", [4800, 9600, 14_400, 19_200, 38_400, 76_800, 250_000, 500_000])
def test_what_avr_libc_makes_within_2_percent_we_make_as_well(baud: int, tmp_path: Path) -> None:
    """avr-libc's util/setbaud.h warns of a baud beyond BAUD_TOL percent, here 2."""
    source = tmp_path / "baud.c"
    source.write_text(f"#define F_CPU 16000000UL\n#define BAUD {baud}UL\n#include <util/setbaud.h>\n")
    command = ["avr-gcc", "-mmcu=atmega2560", "-fsyntax-only", str(source)]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    assert "Baud rate achieved" not in said
    assert abs(made_baud(16_000_000, baud) / baud - 1) < 0.02 < MOST_BAUD_ERROR


def test_the_check_against_avr_libc_can_fail(tmp_path: Path) -> None:
    source = tmp_path / "baud.c"
    source.write_text("#define F_CPU 16000000UL\n#define BAUD 230400UL\n#include <util/setbaud.h>\n")
    command = ["avr-gcc", "-mmcu=atmega2560", "-fsyntax-only", str(source)]
    assert "Baud rate achieved" in subprocess.run(command, capture_output=True, text=True, check=True).stderr
    assert abs(made_baud(16_000_000, 230_400) / 230_400 - 1) > MOST_BAUD_ERROR


# what a board's program would lack


def lacking(*changes: tuple[str, str]) -> dict[str, Severity]:
    found = unwired(parse_plan(wired(*changes)))
    assert {finding.code for finding in found} <= {"unwired"}
    return {re.sub(r" .*", "", finding.message): finding.severity for finding in found}


def test_everything_needs_a_wire_for_a_board() -> None:
    assert lacking() == {}  # halt and motors come over the remote
    assert lacking(("      knee: {analog: A0}\n", "")) == {"knee": Severity.ERROR}
    assert lacking(("      horn: {pin: 40, on_for: 200 ms}\n", "")) == {"horn": Severity.ERROR}
    assert lacking(("      knee_motor: {pwm: 5, direction: 28}\n", "")) == {"knee_motor": Severity.ERROR}


def test_an_event_may_come_over_the_console_alone_but_that_is_noted() -> None:
    gone = ("    events: {go: {pin: 22}}\n", "")
    assert lacking(gone) == {"go": Severity.NOTE}
    assert lacking(gone, ("    console: {baud: 115200, telemetry: 100 ms}\n", "")) == {"go": Severity.ERROR}


def test_a_remote_that_can_be_lost_needs_a_port() -> None:
    found = lacking(("    remote: {port: serial2, baud: 38400}\n", ""))
    assert found == {"halt": Severity.NOTE, "motors": Severity.NOTE, "nothing": Severity.ERROR}


def test_a_machine_without_wiring_lacks_everything() -> None:
    (finding,) = unwired(parse_plan(gait()))
    assert (finding.code, finding.severity) == ("unwired", Severity.ERROR)


# a machine alone

MACHINE = """\
machine: trial
tick: 10 ms
signals:
  knee: {unit: mm, span: [0, 60], scale: {counts: [100, 900], reads: [0, 60]}}
setpoints:
  bend: {unit: mm, span: [0, 55], rate: {of: 60 mm/s, times: pace}, start: 0 mm, followed_by: knee}
outputs:
  knee_motor: {slew: 4 /s}
wiring:
  board: uno
  signals: {knee: {analog: A0}}
  outputs: {knee_motor: {pwm: 5, direction: 7}}
"""


def machine_of(folder: Path, text: str = MACHINE) -> Plan:
    path = folder / "trial.machine.yaml"
    path.write_text(text)
    return machine_plan(path)


def test_a_machine_has_a_plan_without_a_walk(tmp_path: Path) -> None:
    plan = machine_of(tmp_path)
    assert (plan.name, plan.sequences, plan.loops) == ("trial", (), ())
    assert [s.name for s in plan.signals] == ["knee"]
    assert [o.name for o in plan.outputs] == ["knee_motor"]
    assert plan.wiring is not None
    assert [m.pin.number for m in plan.wiring.motors] == [5]


def test_a_walk_s_parameter_stands_in_as_1(tmp_path: Path) -> None:
    plan = machine_of(tmp_path)
    rate = plan.setpoints[0].rate
    assert rate is not None
    assert (rate.step, rate.parameter) == (load_f32(0.6), 0)
    assert [(p.name, p.value) for p in plan.parameters] == [("pace", 1.0)]


def test_errors_of_a_machine_alone_are_told_at_their_places(tmp_path: Path) -> None:
    with pytest.raises(FileErrors) as caught:
        machine_of(
            tmp_path,
            MACHINE.replace("analog: A0", "analog: 4").replace("followed_by: knee", "followed_by: kne"),
        )
    assert [(f.code, f.place.line) for f in caught.value.findings] == [("unknown-name", 6), ("bad-pin", 11)]


def test_a_gait_file_is_no_machine_file(tmp_path: Path) -> None:
    with pytest.raises(FileErrors) as caught:
        machine_of(tmp_path, gait())
    assert [f.code for f in caught.value.findings] == ["not-a-machine"]
