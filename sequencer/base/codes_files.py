"""Codes of what is wrong with a file before its walk can be judged."""

from sequencer.base.codeinfo import CodeInfo
from sequencer.base.findings import Severity

_SOUND = """\
gait: tortoise_nod
machine:
  machine: tortoise
  tick: 10 ms
  signals:
    left_tilt: {unit: deg, span: [-30, 30], every: 20 ms, lost_after: 100 ms}
    right_tilt: {unit: deg, span: [-30, 30], every: 20 ms, lost_after: 100 ms}
  events: [go, halt]
  setpoints:
    nod: {unit: deg, span: [-20, 20], rate: 10 deg/s, start: 0 deg, followed_by: left_tilt}
parameters:
  nod_angle: {unit: deg, value: 10, span: [5, 15]}
counters: [nods]
phases:
  still:
    rest: true
    set: {nod: 0 deg}
    leave: [{to: down, when: {event: go}}]
  down:
    set: {nod: nod_angle}
    count: nods
    leave: [{to: still, when: {at_target: nod, tolerance: 2 deg}, hold: 3 samples}]
    timeout: {after: 4 s, to: safe}
  safe:
    stop: 1
    leave: [{to: still, when: {event: go}}]
anywhere:
  - {to: safe, when: {any: [{event: halt}, {lost: left_tilt}]}}
"""

_GUARD = "{at_target: nod, tolerance: 2 deg}, hold: 3 samples"
_LATE = "the controller would have to guess, so nothing is built until it is mended"


def _with(*pairs: tuple[str, str]) -> str:
    text = _SOUND
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def _code(code: str, title: str, explanation: str, *pairs: tuple[str, str], why: str = _LATE) -> CodeInfo:
    bad = _with(*pairs) if pairs else ""
    return CodeInfo(code, title, Severity.ERROR, explanation, why, bad, _SOUND if pairs else "")


CODES = (
    _code(
        "bad-resolution",
        "a resolution does not fit",
        "With arithmetic: int16 every number of the sequencer is a whole number of steps. A step that is too "
        "fine does not reach across the span, for int16 holds 32,767 either way; one that is too coarse makes a "
        "tolerance or a release gap vanish, or a ramp more than 5 % faster or slower. Signals, setpoints and "
        "parameters that are compared with each other have the same resolution.",
        ("  tick: 10 ms\n", "  tick: 10 ms\n  arithmetic: int16\n"),
        ("every: 20 ms, lost_after: 100 ms}", "every: 20 ms, lost_after: 100 ms, resolution: 0.0001 deg}"),
    ),
    _code("no-file", "file cannot be opened", "The file is missing, not readable, or not a regular file."),
    _code("not-text", "not a text file", "Gait and machine files are text in UTF-8."),
    _code(
        "other-kind",
        "file of another kind",
        "A drawing, a recording, a picture: a verb that takes a gait file got it.",
    ),
    _code("empty-file", "empty file", "The file holds nothing but white space and remarks."),
    _code(
        "too-large",
        "too large",
        "The file, or what it becomes once for_each and parts are written out, is over a bound that no hand-written "
        "walk comes near: 2 MB, 200,000 values, 250 phases in a sequence, 32 events.",
    ),
    _code("too-deep", "nested too deep", "Brackets or indents are nested more than 64 levels deep."),
    _code(
        "yaml-syntax",
        "not YAML",
        "The text does not follow YAML 1.2: a bracket is open, a tab indents, a colon stands in a text without quotes.",
        ("signals:\n", "signals: [\n"),
    ),
    _code(
        "alias",
        "alias used",
        "YAML's anchors (&name) and aliases (*name) are not used here. for_each, parts and defaults repeat things, "
        "and a file full of aliases can grow without bound.",
        ("set: {nod: 0 deg}", "set: *zero"),
    ),
    _code(
        "duplicate-key",
        "key stands twice",
        "A key may stand once in its block; YAML readers would drop one of the two in silence.",
        ("    count: nods\n", "    count: nods\n    count: nods\n"),
    ),
    _code(
        "bad-number",
        "not a number that can be used",
        "Infinity, not-a-number and numbers beyond what the controller can hold are refused. Decimals take a point: "
        "in braces and brackets a comma ends the value.",
        ("tick: 10 ms", "tick: .inf"),
    ),
    _code(
        "unknown-key",
        "unknown key",
        "A key that has no meaning at its place, often a slip of the pen. The keys that may stand there are listed.",
        ("timeout: {after", "time_out: {after"),
    ),
    _code(
        "missing-key",
        "key is missing",
        "Something without which the block means nothing has been left out.",
        ("unit: deg, value: 10, span: [5, 15]", "unit: deg, value: 10"),
    ),
    _code(
        "wrong-type",
        "wrong kind of value",
        "A list stands where a word is needed, a number where true or false is needed, and so on. "
        "As in YAML 1.2, on, off, yes and no are words, not true and false.",
        ("rest: true", "rest: yes"),
    ),
    _code(
        "bad-unit",
        "unit missing or wrong",
        "Quantities carry their unit, and it must measure the same thing as the signal or setpoint: degrees do not "
        "turn into millimetres. Degrees and radians, millimetres and metres convert.",
        ("tolerance: 2 deg", "tolerance: 2 mm"),
        why="15 taken for radians instead of degrees throws the machine over",
    ),
    _code(
        "bad-name",
        "name cannot be used",
        "Names go into C++, CSV headers and diagrams: a letter, then letters, digits and single underscores, ASCII.",
        ("  still:\n", "  still standing:\n"),
    ),
    _code(
        "reserved-name",
        "name is taken",
        "The name is a word of C++ or of the board cores (switch, HIGH, round), or has a meaning here (remote).",
        ("events: [go, halt]", "events: [go, halt, switch]"),
    ),
    _code(
        "unknown-name",
        "name is not declared",
        "A guard, a target or a way out uses a name that no file declares. The nearest known name is told.",
        ("{to: down, when: {event: go}}", "{to: dwon, when: {event: go}}"),
    ),
    _code(
        "duplicate-name",
        "name is used twice",
        "Signals, setpoints, events, switches, parameters and counters share one space of names, so that a trace's "
        "column or a report's line can mean one thing only.",
        ("counters: [nods]", "counters: [nods, nod]"),
    ),
    _code(
        "out-of-span",
        "number outside its span",
        "A number lies outside what its setpoint, parameter or kind allows: a target beyond the span, a lower bound "
        "above the upper one, a time that is not whole milliseconds.",
        ("set: {nod: 0 deg}", "set: {nod: 30 deg}"),
    ),
    _code(
        "bad-guard",
        "guard does not say one thing",
        "A guard is exactly one of all, any, not, event, switch, lost, counter, signal, sequence, reached, at_target, "
        "with what belongs to it; a signal or counter has exactly one comparison.",
        (_GUARD, "{signal: left_tilt, above: 3 deg, below: 9 deg}"),
    ),
    _code(
        "bad-level",
        "threshold cannot be read",
        "A threshold or target is a quantity, a parameter, or {of: parameter, plus: quantity}. There are no formulas.",
        ("set: {nod: nod_angle}", "set: {nod: {of: nod_angle, times: 2}}"),
    ),
    _code(
        "bad-hold",
        "nothing to count samples of",
        "A hold in fresh samples counts the samples of the signals that its guard compares; this guard compares none.",
        ("when: {event: go}}]\n  down", "when: {event: go}, hold: 3 samples}]\n  down"),
    ),
    _code(
        "bad-release",
        "release on the wrong side",
        "Once true, a comparison stays true until its release is passed on the way back, so the release must be the "
        "easier of the two to meet.",
        (_GUARD, "{signal: left_tilt, above: 9 deg, release: 10 deg}"),
    ),
    _code(
        "bad-phase",
        "phase contradicts itself",
        "A phase is either rest or stop, counts or resets a counter, sets or keeps a setpoint; a gait has phases or "
        "sequences.",
        ("stop: 1", "stop: 1\n    rest: true"),
    ),
    _code(
        "bad-mirror",
        "mirror does not fit",
        "Both of a swapped pair are negated or neither is, words are swapped whole, and mirror goes with phases, not "
        "with sequences.",
        (
            "anywhere:\n",
            "mirror: {swap: {left: right}, negate: [nod, left_tilt], phases: {down: up}}\nanywhere:\n",
        ),
        why="a walk whose other side is only half turned round falls over on that side",
    ),
    _code(
        "bad-drive",
        "loop or output contradicts itself",
        "A loop drives an output or adds to other loops, not both; loops add to each other from the outer to the inner "
        "one, never in a ring; kp and ki have one sign; an output is a motor's or a pulse.",
        (
            "parameters:\n",
            "  outputs: {nod_motor: {}}\n"
            "  loops:\n"
            "    drive: {setpoint: [nod], signal: left_tilt, kp: 0.1, output: nod_motor, adds_to: {lean: 1}}\n"
            "    lean: {setpoint: [nod], signal: left_tilt, kp: 0.1, output: nod_motor}\n"
            "parameters:\n",
        ),
        why="a motor driven by two minds, or by a ring of loops, runs away",
    ),
    _code(
        "no-follower",
        "nothing follows the setpoint",
        "reached and at_target compare the signals that follow a setpoint; the machine file names none.",
        (", followed_by: left_tilt", ""),
    ),
    _code(
        "never-lost",
        "can never be lost",
        "lost is asked of a signal, or of the remote, that has no lost_after, so it would never be true.",
        ("every: 20 ms, lost_after: 100 ms}\n    right", "every: 20 ms}\n    right"),
        why="a broken wire would go unnoticed",
    ),
    _code("not-a-machine", "not a machine file", "machine names a file that does not describe a machine."),
    _code(
        "two-owners",
        "two sequences command one thing",
        "A setpoint or counter is set by one sequence only; two would pull it to and fro.",
        (
            _SOUND[_SOUND.index("phases:\n") :],
            "sequences:\n"
            "  one: {phases: {a: {rest: true, set: {nod: 0 deg}}}}\n"
            "  two: {phases: {a: {rest: true, set: {nod: 5 deg}}}}\n",
        ),
    ),
)
