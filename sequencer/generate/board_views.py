"""The view of a board's program: what its templates print beside the gait's and the wiring's views."""

import binascii
import re
from dataclasses import dataclass
from typing import Any, Final

from sequencer.base.binary32 import f32, literal
from sequencer.base.errors import MisuseError
from sequencer.base.places import Place
from sequencer.generate.board_io import need_wiring
from sequencer.generate.board_telemetry import LONGEST_MOVE, LONGEST_WRITE, longest_line
from sequencer.generate.names import comment, prefixed_names
from sequencer.generate.spelling import Spelling, bits_type, mask
from sequencer.plan.boards import BOARDS
from sequencer.plan.tables import Parameter, Plan
from sequencer.plan.wiring_tables import Wiring

LAYOUT_VERSION = 1  # of the block in EEPROM
SILENT_MS = 1000  # for a signal without lost_after
_SKETCH = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]{0,62}", re.ASCII)
_KNOB_MS = 100
_KNOB_COUNTS = 4  # a knob that moved by less did not move
_ANSWER = 120  # bytes of the longest answers
# milliseconds, and the number that the AVR's library has for them
_WATCHDOGS: Final = (15, 30, 60, 120, 250, 500, 1000, 2000, 4000, 8000)
_LETTERS: Final = (("signals", "i"), ("setpoints", "s"), ("outputs", "o"))


@dataclass(frozen=True, slots=True)
class WatchView:
    """What a signal must be like before enable: its span, how far it may wander, how long be silent."""

    low: str
    high: str
    within: str
    silent_ticks: int


@dataclass(frozen=True, slots=True)
class WiredBitView:
    """An event or switch on a contact."""

    name: str
    contact: str


@dataclass(frozen=True, slots=True)
class KnobView:
    """A turning knob and the parameter that it trims."""

    knob: str
    parameter: str


@dataclass(frozen=True, slots=True)
class BoardView:
    """A board's program, as templates see it."""

    namespace: str
    macro: str
    header: str
    source: str
    told: str  # the header that tells this program of transitions
    sketch: str
    machine: str  # the type: State, or Machine if there are loops or outputs
    includes: str
    gait: str
    sha: str
    console: bool
    remote_apart: bool  # the remote has a port of its own
    remote_heard: bool  # whether the remote is heard over a line at all
    remote_events: str
    remote_switches: str
    telemetry_ms: int
    telemetry_ticks: int
    letters: str
    carries: dict[str, bool]
    words: tuple[str, ...]  # the console's words, in the order of their enumerators
    watches: tuple[WatchView, ...]
    still_ticks: int
    events: tuple[WiredBitView, ...]
    switches: tuple[WiredBitView, ...]
    wired_switches: str
    servos: tuple[str, ...]
    pulses: tuple[str, ...]
    knobs: tuple[KnobView, ...]
    knob_ticks: int
    knob_counts: int
    enable_button: bool
    helping_switch: bool
    step_button: bool
    stop: bool
    keeps: bool
    layout_version: int
    layout_sum: str
    watchdog_ms: int
    watchdog_option: int
    event_digits: int
    switch_digits: int
    second_ticks: int
    answer_room: int
    head_room: int
    write_room: int


def _refuse_whole_steps(plan: Plan) -> None:
    if plan.fixed is not None:
        raise MisuseError(
            f"{Place(plan.sources[-1], 1, 1)}: the board program counts in binary32, "
            "the machine file says arithmetic: int16",
            hint="--target portable, or leave out arithmetic: int16",
        )


def board_view(plan: Plan, sketch: str) -> BoardView:
    """Make the view of a plan's program for its board.

    Raises MisuseError if the machine has no wiring, if nothing could ever enable the motors, or if parameters
    do not fit the EEPROM of a board that we know.
    """
    _refuse_whole_steps(plan)
    wiring, spelling = need_wiring(plan), Spelling(plan)
    if wiring.console is None and wiring.enable_contact is None:
        raise MisuseError(
            f"{wiring.place}: nothing can enable the motors",
            hint="wire a console, or a button: enable: {pin: 26, button: 27}",
        )
    events, switches = bits_type(len(plan.events)), bits_type(len(plan.switches))
    remote = plan.remote if wiring.remote_port is not None else None
    wired = [wire.index for wire in wiring.inputs if wire.kind == "switch"]
    return BoardView(
        **_identity(plan, spelling.gait, sketch),
        **_console(plan, wiring),
        remote_apart=remote is not None
        and (wiring.console is None or wiring.console.port != wiring.remote_port),
        remote_heard=remote is not None,
        remote_events=_masks(remote.events if remote else (), events),
        remote_switches=_masks(remote.switches if remote else (), switches),
        words=_words(plan, wiring),
        watches=_watches(plan, wiring),
        still_ticks=_ticks(plan, wiring.still.for_ms),
        events=_wired(plan, wiring, "event"),
        switches=_wired(plan, wiring, "switch"),
        wired_switches=_masks(wired, switches),
        servos=tuple(spelling.setpoints[wire.setpoint] for wire in wiring.servos),
        pulses=tuple(spelling.pulses[wire.pulse] for wire in wiring.pulses),
        knobs=_knobs(plan, wiring, spelling),
        knob_ticks=_ticks(plan, _KNOB_MS),
        knob_counts=_KNOB_COUNTS,
        enable_button=wiring.enable_contact is not None,
        helping_switch=wiring.helping is not None,
        step_button=wiring.step is not None,
        stop=wiring.stop_contact is not None,
        **_kept(plan, wiring),
        watchdog_ms=wiring.watchdog_ms,
        watchdog_option=next((i for i, ms in enumerate(_WATCHDOGS) if ms >= wiring.watchdog_ms), 9),
        event_digits=-(-max(len(plan.events), 1) // 4),
        switch_digits=-(-max(len(plan.switches), 1) // 4),
        second_ticks=_ticks(plan, 1000),
    )


def send_size(plan: Plan) -> int:
    """Give the bytes in which lines wait for the console: a line of telemetry, all beside it, an answer."""
    wiring = need_wiring(plan)
    if wiring.console is None:
        return 1
    line = longest_line(plan, wiring.console) if wiring.console.telemetry_ms else 0
    return max(line + LONGEST_MOVE * len(plan.sequences) + LONGEST_WRITE + _ANSWER, 2 * _head_room(plan))


def _head_room(plan: Plan) -> int:
    """Give the most that the line G1 can take, in bytes."""
    return len(plan.name) + 48


def layout_sum(parameters: tuple[Parameter, ...]) -> int:
    """Compute what tells one gait's block in EEPROM from another's: CRC-16/XMODEM over names and spans.

    >>> layout_sum(())
    0
    """
    text = "".join(f"{p.name},{literal(p.low)},{literal(p.high)};" for p in parameters)
    return binascii.crc_hqx(text.encode("ascii"), 0)


def sketch_file(called: str) -> str:
    """Spell the file of a sketch. Raises MisuseError if the boards' editor takes no such name."""
    if not _SKETCH.fullmatch(called):
        raise MisuseError(
            f"a sketch cannot be called {comment(called)!r}, as its folder is",
            hint="the boards' editor takes letters, digits, _, - and . in a folder's name",
        )
    return f"{called}.ino"


def _identity(plan: Plan, stem: str, sketch: str) -> dict[str, Any]:
    bare = stem.rstrip("_")
    drives = bool(plan.loops or plan.outputs)
    return {
        "namespace": f"{bare}_board",
        "macro": f"{bare}_board".upper(),
        "header": f"{bare}_board.h",
        "source": f"{bare}_board.cpp",
        "told": f"{bare}_told.h",
        "sketch": sketch_file(sketch or stem),
        "machine": "Machine" if drives else "State",
        "includes": f"{stem}_loops.h" if drives else f"{stem}.h",
        "gait": plan.name,
        "sha": plan.sha[:16],
    }


def _console(plan: Plan, wiring: Wiring) -> dict[str, Any]:
    console = wiring.console
    carried = console.telemetry if console is not None else ()
    every = console.telemetry_ms if console is not None else 0
    return {
        "console": console is not None,
        "telemetry_ms": every,
        "telemetry_ticks": every // plan.tick_ms,
        "letters": "".join(letter for group, letter in _LETTERS if group in carried),
        "carries": {group: group in carried for group, _ in _LETTERS},
        "answer_room": _ANSWER,
        "head_room": _head_room(plan),
        "write_room": LONGEST_WRITE,
    }


def _ticks(plan: Plan, ms: int) -> int:
    return min(0xFFFF, max(1, -(-ms // plan.tick_ms)))


def _masks(indices: "tuple[int, ...] | list[int]", bits: str) -> str:
    return " | ".join(mask(i, bits) for i in indices) or "0U"


def _words(plan: Plan, wiring: Wiring) -> tuple[str, ...]:
    words = ["enable", "disable", "restart", "version"]
    if plan.parameters:
        words.append("forget")
    if plan.parameters and wiring.keep_parameters:
        words.append("keep")
    if plan.helping:
        words += ["helping on", "helping off", "stepping on", "stepping off", "step"]
    if wiring.sensor_reset is not None:
        words.append("sensors")
    return tuple(words)


def _watches(plan: Plan, wiring: Wiring) -> tuple[WatchView, ...]:
    return tuple(
        WatchView(
            low=literal(signal.low),
            high=literal(signal.high),
            within=literal(f32(within)),
            silent_ticks=_ticks(plan, signal.lost_after_ms or SILENT_MS),
        )
        for signal, within in zip(plan.signals, wiring.still.within, strict=True)
    )


def _wired(plan: Plan, wiring: Wiring, kind: str) -> tuple[WiredBitView, ...]:
    rows = plan.events if kind == "event" else plan.switches
    names = prefixed_names(kind, [row.name for row in rows])
    contacts = prefixed_names(f"contact_{kind}", [row.name for row in rows])
    return tuple(WiredBitView(names[w.index], contacts[w.index]) for w in wiring.inputs if w.kind == kind)


def _knobs(plan: Plan, wiring: Wiring, spelling: Spelling) -> tuple[KnobView, ...]:
    """Find the knobs whose parameter this gait has."""
    knobs = prefixed_names("knob", [knob.parameter for knob in wiring.knobs])
    index = {parameter.name: i for i, parameter in enumerate(plan.parameters)}
    return tuple(
        KnobView(name, spelling.parameters[index[knob.parameter]])
        for name, knob in zip(knobs, wiring.knobs, strict=True)
        if knob.parameter in index
    )


def _kept(plan: Plan, wiring: Wiring) -> dict[str, Any]:
    keeps = wiring.keep_parameters and bool(plan.parameters)
    board = BOARDS.get(wiring.board)
    need = 8 + 4 * len(plan.parameters)
    if keeps and board is not None and need > board.eeprom:
        raise MisuseError(
            f"{wiring.place}: {len(plan.parameters)} parameters need {need} bytes of EEPROM, "
            f"and there are {board.eeprom}",
            hint="leave out keep_parameters, or have fewer parameters",
        )
    return {
        "keeps": keeps,
        "layout_version": LAYOUT_VERSION,
        "layout_sum": f"0x{layout_sum(plan.parameters):04X}U",
    }
