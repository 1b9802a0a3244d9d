"""Codes of findings about what is connected where, and about what fits into a controller."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.example_walk import changed
from sequencer.base.findings import Severity

_SCALED = "knee: {unit: mm, span: [0, 60], scale: {counts: [100, 900], reads: [0, 60]}, "
_PHASES = "phases:\n  standing:"

# the walk of the other examples with a machine that is wired up
_WIRING = """\
  wiring:
    board: mega2560
    console: {baud: 115200}
    lines: {tilts: {port: serial1, baud: 57600}}
    signals:
      knee: {analog: A0}
      tilt: {line: tilts}
    events: {go: {pin: 22}, halt: {pin: 23}}
    setpoints: {bend: {servo: 9}}
    enable: {pin: 26}
    stop_contact: {pin: 2}
"""


def _wired(*changes: tuple[str, str], outputs: str = "") -> str:
    wiring = _WIRING
    for old, new in changes:
        assert wiring.count(old) == 1, old
        wiring = wiring.replace(old, new)
    return changed(("knee: {unit: mm, span: [0, 60], ", _SCALED), (_PHASES, f"{outputs}{wiring}{_PHASES}"))


_MOTOR = ("    enable", "    outputs: {knee_motor: {pwm: 5}}\n    enable")
_FINE = _wired()
_GAIN = changed(
    (
        _PHASES,
        """\
  parameters: {leg_gain: {value: 0.05, span: [%s, 0.1]}}
  loops: {leg: {setpoint: [bend], signal: knee, kp: leg_gain, output: motor}}
  outputs: {motor: {holds_unpowered: true}}
phases:
  standing:""",
    )
)


def _code(
    code: str, severity: Severity, title: str, explanation: str, why: str, *changes: tuple[str, str]
) -> CodeInfo:
    return CodeInfo(code, title, severity, explanation, why, _wired(*changes), _FINE)


CODES = (
    _code(
        "pin-twice",
        Severity.ERROR,
        "a pin is used twice",
        "Two things in the wiring are on one pin, or a pin is the receive or transmit pin of a serial port that "
        "is used, too. On some boards one pin has two numbers.",
        "One of the two never works, or two outputs drive against each other until one is dead.",
        ("halt: {pin: 23}", "halt: {pin: 22}"),
    ),
    _code(
        "bad-pin",
        Severity.ERROR,
        "the board's pin cannot do that",
        "The board has no such pin, an analog signal is on a pin that measures nothing, a duty on a pin without "
        "PWM or whose timer makes the servos' pulses. The pins are those of the board's core.",
        "A motor that should creep runs at full speed: without PWM a pin is only on or off.",
        ("knee: {analog: A0}", "knee: {analog: 30}"),
    ),
    _code(
        "bad-port",
        Severity.ERROR,
        "the serial port cannot do that",
        "The board lacks the port, two on one port want different bauds, two lines of numbers are on one port, or "
        "the controller's clock cannot make the baud within 2.5 % (ATmega data sheets, baud rate generation).",
        "Every byte comes in as another one, so the sensor counts as lost from the first tick on.",
        ("port: serial1, baud: 57600", "port: serial1, baud: 230400"),
    ),
    _code(
        "bad-wire",
        Severity.ERROR,
        "a wire does not fit what it is for",
        "A signal comes from one of analog, line and hook; an output goes to its motor in one way, a pulse to a "
        "pin; two signals do not share a field of a line, and the line has that field.",
        "The program would read one sensor twice and another never.",
        ("tilt: {line: tilts}", "tilt: {line: tilts, field: 2}"),
    ),
    _code(
        "unknown-board",
        Severity.WARNING,
        "nothing is known about the board",
        "The board is none of those whose pins are known, so pins, PWM and ports are not checked. They are handed "
        "to the board's core as they are written.",
        "A slip in the wiring shows at the bench only.",
        ("board: mega2560", "board: my_own_board"),
    ),
    _code(
        "no-interrupt",
        Severity.WARNING,
        "the stop contact's pin has no interrupt",
        "On a pin with an external interrupt the drives go off in the moment the contact opens; on this one, in "
        "the next tick.",
        "A tick is short, but a program that hangs does not get to it; the watchdog ends that later.",
        ("stop_contact: {pin: 2}", "stop_contact: {pin: 30}"),
    ),
    _code(
        "shared-port",
        Severity.WARNING,
        "a sensor shares its port",
        "A line of numbers is on the port of the console or the remote. Two transmitters are wired to one receive "
        "pin then, and may send at the same time (common practice: one transmitter on a receive pin).",
        "Numbers and commands garble each other, most likely when something happens.",
        ("port: serial1, baud: 57600", "port: serial"),
    ),
    _code(
        "line-rate",
        Severity.WARNING,
        "a line carries more than its baud",
        "What the line's signals send, at 10 bytes a number (an angle with four decimals; common practice) and 10 "
        "bits a byte, is more than 80 % of the baud; or its signals, which come together, are said to come at "
        "different rates.",
        "The sensor drops lines or lags behind, and the machine balances on old angles.",
        ("baud: 57600", "baud: 4800"),
    ),
    _code(
        "raw-counts",
        Severity.WARNING,
        "counts are taken for the unit",
        "A signal on an analog pin has no scale: its counts, 0 to 1023, are taken for degrees or millimetres.",
        "A joint in its middle reads 512 deg; every guard and loop goes wrong in the first tick.",
        ("tilt: {line: tilts}", "tilt: {analog: A1}"),
    ),
    _code(
        "unwired",
        Severity.WARNING,
        "something has no wire",
        "The program of a board must know where every signal comes from and where every output goes. Without it "
        "target board is refused; `check` only warns, for the walk may be sound all the same. What can be given over "
        "the console alone is a note.",
        "A joint without a wire is told where to go and never gets there.",
        ("    lines: {tilts: {port: serial1, baud: 57600}}\n", ""),
        ("      tilt: {line: tilts}\n", ""),
    ),
    CodeInfo(
        "one-way",
        "an output below 0 has no way to turn back",
        Severity.WARNING,
        "The output's span reaches below 0, but its motor is on one PWM pin without direction: what is negative "
        "counts as 0.",
        "The loop asks the motor to turn back, and it does not: the joint only ever goes on.",
        _wired(_MOTOR, outputs="  outputs: {knee_motor: {}}\n"),
        _wired(_MOTOR, (" 5}}", " 5, direction: 28}}"), outputs="  outputs: {knee_motor: {}}\n"),
    ),
    _code(
        "programming-port",
        Severity.NOTE,
        "the programming port is used for more",
        "A sensor, the remote or a pin of its own is on the port over which programs are uploaded: it must be "
        "unplugged for that, and sees what is sent to the console.",
        "Uploading fails until somebody pulls a plug, mostly in the field.",
        ("    console: {baud: 115200}\n", ""),
        ("port: serial1", "port: serial"),
    ),
    _code(
        "logic-levels",
        Severity.NOTE,
        "logic levels differ",
        "What is on a serial port works at another voltage than the board. A 3.3 V part reaches the high level of "
        "a 5 V AVR (0.6 of its supply, ATmega data sheets) but must not be fed 5 V.",
        "The sensor's receive pin is fed 5 V and dies, some weeks later.",
        ("baud: 57600", "baud: 57600, levels: 3.3 V"),
    ),
    _code(
        "idle-knob",
        Severity.NOTE,
        "a knob turns nothing",
        "The gait has no parameter of that name. A machine may serve several gaits, and another may have it.",
        "Somebody turns the knob to slow the walk down, and nothing happens.",
        ("    enable", "    knobs: {pace: A9}\n    enable"),
    ),
    _code(
        "idle-contact",
        Severity.WARNING,
        "a contact for helping does nothing",
        "The wiring has a contact for single steps or for helping by hand, and the machine file does not say "
        "`helping: true`, so the walk knows neither.",
        "Somebody turns the switch to hold a foot by hand, and the timeout ends the walk all the same.",
        ("    enable", "    step: {pin: 32}\n    enable"),
    ),
    _code(
        "setpoint-unwired",
        Severity.WARNING,
        "a setpoint that nothing follows",
        "Phases command the setpoint, and in the wiring no servo goes where it is, nor does a loop take it.",
        "The joint is told where to go and never gets there; in the dry run it did.",
        ("    setpoints: {bend: {servo: 9}}\n", ""),
    ),
    _code(
        "servo-short",
        Severity.WARNING,
        "a servo ends before the target",
        "A phase sends the setpoint, as it stands or as it may be trimmed, beyond `over` of its servo.",
        "The servo stands at its end, the guard waits for the target, and the timeout ends the walk.",
        ("{servo: 9}", "{servo: 9, pulse: [1000 us, 2000 us], over: [0 mm, 30 mm]}"),
    ),
    _code(
        "odd-baud",
        Severity.WARNING,
        "an unusual baud",
        "A serial port runs at a rate that sensors and terminals hardly offer: most often a slip of the finger.",
        "Nothing but garbage arrives, and every wire is checked before somebody reads the number.",
        ("console: {baud: 115200}", "console: {baud: 115220}"),
    ),
    CodeInfo(
        "counts-beyond-pin",
        "counts that an analog pin does not give",
        Severity.WARNING,
        "The signal's span, by its scale, goes far beyond the 0 to 1023 counts of the board's analog pins.",
        "The scale was taken from a board with a finer converter: every angle is wrong by the same factor.",
        _FINE.replace("counts: [100, 900]", "counts: [100, 3900]"),
        _FINE,
    ),
    CodeInfo(
        "gain-of-both-signs",
        "a gain that may be trimmed to the wrong sign",
        Severity.WARNING,
        "A loop's kp, ki or kd names a parameter whose span has numbers on both sides of 0.",
        "One wrong sign over the serial line, and the joint runs into its end at full duty.",
        _GAIN % "-0.1",
        _GAIN % "0",
    ),
    _code(
        "no-cut",
        Severity.NOTE,
        "nothing cuts the drives",
        "The wiring has motors or servos but no enable line, or no contact of the emergency stop. The program then "
        "only sets duties to 0. An emergency stop belongs into the supply, whatever the program does (ISO 13850).",
        "A servo or a driver that hangs goes on, and the program has no means to end it.",
        ("    enable: {pin: 26}\n", ""),
    ),
    CodeInfo(
        "no-room",
        "the program does not fit into the controller",
        Severity.ERROR,
        "The program needs more flash or memory than the controller has, or its slowest tick takes longer than a "
        "tick. It is measured by `generate` when a controller is chosen.",
        "It does not link; or the stack runs into the variables and the machine does anything.",
        "",
        "",
    ),
    CodeInfo(
        "over-budget",
        "the program takes more than its budget",
        Severity.ERROR,
        "The machine file says under `budget` what the program may take, and it takes more. It is measured by "
        "`generate`.",
        "What was kept free for sensors and radio is gone, and the next change does not fit.",
        "",
        "",
    ),
)
