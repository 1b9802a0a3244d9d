"""Scripts from which recordings are made.

A script is a YAML file. Times are from the start on; numbers without a unit are in the signal's::

    trace: lean and back                 # a title
    lasts: 12 s
    seed: 7                              # for noise and dropouts; 0 if left out

    signals:
      left_leg_roll:
        start: 0 deg                     # left out: 0, or two thirds of a span without 0
        shape:                           # one after the other; then it stands still
          - {hold: 1 s}                  # stays where it is
          - {ramp: 15 deg, in: 1 s}      # goes there in a straight line
          - {step: 12 deg}               # is there at once
          - {sine: 2 deg, period: 1 s, for: 3 s}   # swings around where it stands
        repeat: 2                        # the shape so many times
        noise: 0.2 deg                   # standard deviation
        quantisation: 0.1 deg            # rounded to whole steps, noise and all
        glitch: {at: 4 s, by: 20 deg}    # one sample; with `for: 60 ms`, all of them; `to` in place of `by`
        dropout: [{at: 8 s, for: 300 ms}, {chance: 0.01}]   # no samples; each may get lost
      left_knee:
        raw: true                        # counts, as the sensor gives them
        start: 102

    events:     {go: 1 s, halt: [10 s, 11 s]}
    switches:   {motors: on, walk: [{at: 0 s, to: on}, {at: 9 s, to: off}]}   # off if left out
    parameters: {lean_angle: [{at: 5 s, to: 12 deg}]}
    remote:     {silent: [{at: 6 s, for: 1 s}]}
    helping:    {on: [{at: 2 s, to: on}], stepping: on, step: [3 s, 4 s]}   # of a machine with `helping`

A signal that is not named has no samples. Each signal is sampled at its own `every`, from 0 on.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sequencer.base.errors import TraceError
from sequencer.gait.nodes import Item, Mapping, Text
from sequencer.gait.reading import Unreadable, read_tree
from sequencer.plan.tables import Plan, Signal
from sequencer.trace import items
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, HELPING_BITS, STEP
from sequencer.trace.still import still_value

MOST_PIECES = 100_000


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch from `start_us` on: value + slope * t + amplitude * sin(turn * t), t counted from there.

    t in microseconds, slope per microsecond, turn in radians per microsecond.
    """

    start_us: int
    value: float
    slope: float = 0.0
    amplitude: float = 0.0
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class Window:
    """From `start_us` on and before `stop_us`; None: only the first sample from `start_us` on."""

    start_us: int
    stop_us: int | None


@dataclass(frozen=True, slots=True)
class Glitch:
    """A wrong value in a window: added to the signal, or in place of it."""

    window: Window
    value: float
    added: bool


@dataclass(frozen=True, slots=True)
class SignalScript:
    """What one signal does. Numbers are in its unit, or raw if `form` is FRESH_RAW."""

    signal: int
    form: int
    pieces: tuple[Piece, ...]
    noise: float
    step: float  # of the quantisation; 0 if there is none
    glitches: tuple[Glitch, ...]
    dropouts: tuple[Window, ...]
    chance: float


@dataclass(frozen=True, slots=True)
class Script:
    """A whole script. Moments are (microseconds, index, value) in order of time."""

    title: str
    lasts_us: int
    seed: int
    signals: tuple[SignalScript, ...]
    events: tuple[tuple[int, int, float], ...]
    switches: tuple[tuple[int, int, float], ...]
    parameters: tuple[tuple[int, int, float], ...]
    helping: tuple[tuple[int, int, float], ...]  # the index is a bit of TickBlock.control
    silent: tuple[Window, ...]


def load_script(path: str | Path, plan: Plan) -> Script:
    """Read a script for a plan's signals and names. Raises TraceError with the place of the first error."""
    try:
        root, findings = read_tree(path, "a trace script")
    except Unreadable as error:
        findings, root = [error.finding], None
    if root is None or findings:
        wrong = findings[0]
        raise TraceError(wrong.message, wrong.place, expected=wrong.expected, hint=wrong.fix)
    keys = ("trace", "lasts", "seed", "signals", "events", "switches", "parameters", "remote", "helping")
    top = items.mapping(root, keys, needed=("lasts",))
    seed = top.get("seed")
    title = top.get("trace")
    signals = items.named(top.get("signals"), [s.name for s in plan.signals], "signal")
    lasts_us = items.span_us(top["lasts"])
    return Script(
        title=items.text(title) if title is not None else "",
        lasts_us=lasts_us,
        seed=0 if seed is None else items.whole(seed, 0, 2**63 - 1),
        signals=tuple(_signal(plan.signals[i], i, item) for i, item in signals),
        events=_events(top.get("events"), plan, lasts_us),
        switches=_switches(top.get("switches"), plan, lasts_us),
        parameters=_parameters(top.get("parameters"), plan, lasts_us),
        helping=_helping(top.get("helping"), plan, lasts_us),
        silent=_silent(top.get("remote"), plan),
    )


def _signal(signal: Signal, index: int, item: Item) -> SignalScript:
    keys = ("start", "shape", "repeat", "raw", "noise", "quantisation", "glitch", "dropout")
    found = items.mapping(item, keys)
    raw = items.flag(found.get("raw"))
    unit = ("counts" if signal.scaled else signal.unit) if raw else signal.unit
    start = items.number(found["start"], unit) if "start" in found else still_value(signal)
    repeat = items.whole(found["repeat"], 1, MOST_PIECES) if "repeat" in found else 1
    dropouts = items.listed(found.get("dropout"))
    chances = [d for d in dropouts if isinstance(d, Mapping) and d.get("chance") is not None]
    return SignalScript(
        signal=index,
        form=FRESH_RAW if raw else FRESH_VALUE,
        pieces=_pieces(start, items.listed(found.get("shape")), repeat, unit),
        noise=items.size(found.get("noise"), unit),
        step=items.size(found.get("quantisation"), unit),
        glitches=tuple(_glitch(g, unit) for g in items.listed(found.get("glitch"))),
        dropouts=tuple(_window(d) for d in dropouts if d not in chances),
        chance=max((_chance(c) for c in chances), default=0.0),
    )


def _chance(item: Item) -> float:
    chance = items.number(items.mapping(item, ("chance",))["chance"], "")
    if not 0 <= chance <= 1:
        raise items.fault(item, "a chance is a probability", "0 to 1")
    return chance


def _window(item: Item) -> Window:
    found = items.mapping(item, ("at", "for", "chance"), needed=("at", "for"))
    start = items.time_us(found["at"])
    return Window(start, start + items.span_us(found["for"]))


def _glitch(item: Item, unit: str) -> Glitch:
    found = items.mapping(item, ("at", "by", "to", "for"), needed=("at",))
    if ("by" in found) == ("to" in found):
        raise items.fault(item, "a glitch goes by some value or to some value", "one of by and to")
    start = items.time_us(found["at"])
    stop = start + items.span_us(found["for"]) if "for" in found else None
    value = items.number(found.get("by") or found["to"], unit)
    return Glitch(Window(start, stop), value, added="by" in found)


def _pieces(start: float, shape: tuple[Item, ...], repeat: int, unit: str) -> tuple[Piece, ...]:
    """Lay the shape out in time, `repeat` times; the last piece stands still for ever."""
    if len(shape) * repeat > MOST_PIECES:
        raise items.fault(shape[0], f"this shape has more than {MOST_PIECES:,} pieces", "fewer repeats")
    moves = [_MOVES[_kind(item)](item, unit) for item in shape]
    pieces: list[Piece] = []
    at_us, value = 0, start
    for _ in range(repeat):
        for move in moves:
            piece, takes_us, value = move(at_us, value)
            if takes_us:
                pieces.append(piece)
            at_us += takes_us
    pieces.append(Piece(at_us, value))
    return tuple(pieces)


Move = Callable[[int, float], tuple[Piece, int, float]]
"""From when and where a piece starts to the piece, how long it takes (us), and where it ends."""


def _kind(item: Item) -> str:
    kinds = [k for k in _MOVES if isinstance(item, Mapping) and item.get(k) is not None]
    if len(kinds) != 1:
        raise items.fault(item, "this is no piece of a shape", "one of " + ", ".join(_MOVES))
    return kinds[0]


def _hold(item: Item, unit: str) -> Move:
    takes_us = items.span_us(items.mapping(item, ("hold",))["hold"])
    return lambda at_us, value: (Piece(at_us, value), takes_us, value)


def _step(item: Item, unit: str) -> Move:
    target = items.number(items.mapping(item, ("step",))["step"], unit)
    return lambda at_us, value: (Piece(at_us, value), 0, target)


def _ramp(item: Item, unit: str) -> Move:
    found = items.mapping(item, ("ramp", "in"), needed=("in",))
    target, takes_us = items.number(found["ramp"], unit), items.span_us(found["in"])
    return lambda at_us, value: (Piece(at_us, value, (target - value) / takes_us), takes_us, target)


def _sine(item: Item, unit: str) -> Move:
    found = items.mapping(item, ("sine", "period", "for"), needed=("period", "for"))
    amplitude, takes_us = items.number(found["sine"], unit), items.span_us(found["for"])
    turn = 2 * math.pi / items.span_us(found["period"])

    def move(at_us: int, value: float) -> tuple[Piece, int, float]:
        end = value + amplitude * math.sin(turn * takes_us)
        return Piece(at_us, value, amplitude=amplitude, turn=turn), takes_us, end

    return move


_MOVES: dict[str, Callable[[Item, str], Move]] = {
    "hold": _hold,
    "ramp": _ramp,
    "step": _step,
    "sine": _sine,
}


def _events(item: Item | None, plan: Plan, lasts_us: int) -> tuple[tuple[int, int, float], ...]:
    named = items.named(item, [e.name for e in plan.events], "event")
    return tuple(
        sorted((items.moment_us(at, lasts_us), i, 1.0) for i, times in named for at in items.listed(times))
    )


def _switches(item: Item | None, plan: Plan, lasts_us: int) -> tuple[tuple[int, int, float], ...]:
    found = {(0, i): 0.0 for i in range(len(plan.switches))}
    for i, how in items.named(item, [s.name for s in plan.switches], "switch"):
        found |= {(at, i): on for at, on in _held(how, lasts_us)}
    return tuple((at, i, on) for (at, i), on in sorted(found.items()))


def _held(item: Item, lasts_us: int) -> list[tuple[int, float]]:
    """Take when something is switched on and off, as (microseconds, 1 or 0)."""
    if isinstance(item, Text):
        return [(0, _on_or_off(item))]
    found = []
    for moment in items.listed(item):
        keys = items.mapping(moment, ("at", "to"), needed=("at", "to"))
        found.append((items.moment_us(keys["at"], lasts_us), _on_or_off(keys["to"])))
    return found


def _helping(item: Item | None, plan: Plan, lasts_us: int) -> tuple[tuple[int, int, float], ...]:
    if item is None:
        return ()
    if not plan.helping:
        raise items.fault(item, "the machine cannot be helped by hand", "a machine file with helping: true")
    found: dict[tuple[int, int], float] = {}
    for name, how in items.mapping(item, tuple(HELPING_BITS)).items():
        if HELPING_BITS[name] == STEP:
            found |= {(items.moment_us(at, lasts_us), STEP): 1.0 for at in items.listed(how)}
        else:
            found |= {(at, HELPING_BITS[name]): on for at, on in _held(how, lasts_us)}
    return tuple((at, bit, on) for (at, bit), on in sorted(found.items()))


def _on_or_off(item: Item) -> float:
    if not isinstance(item, Text) or item.value not in ("on", "off"):
        raise items.fault(item, "a switch is on or off", "on, off, or a list of {at: 2 s, to: on}")
    return float(item.value == "on")


def _parameters(item: Item | None, plan: Plan, lasts_us: int) -> tuple[tuple[int, int, float], ...]:
    found = []
    for i, moments in items.named(item, [p.name for p in plan.parameters], "parameter"):
        for moment in items.listed(moments):
            keys = items.mapping(moment, ("at", "to"), needed=("at", "to"))
            at_us = items.moment_us(keys["at"], lasts_us)
            found.append((at_us, i, items.number(keys["to"], plan.parameters[i].unit)))
    return tuple(sorted(found, key=lambda moment: moment[:2]))


def _silent(item: Item | None, plan: Plan) -> tuple[Window, ...]:
    if item is None:
        return ()
    if plan.remote is None:
        raise items.fault(item, "the machine has no remote", "a machine file with remote:")
    return tuple(_window(w) for w in items.listed(items.mapping(item, ("silent",)).get("silent")))
