"""Loops and outputs of plans written by hand: what is left out is plain."""

from dataclasses import fields, replace
from typing import Any, TypeVar

from sequencer.base.binary32 import load_f32
from sequencer.base.places import NOWHERE
from sequencer.plan import tables as t

Table = TypeVar("Table", t.Loop, t.Output, t.Supply, t.Stall)

MOST = 3.4028234663852886e38  # the largest binary32: an integral without a limit


def loop(name: str, *, gains: tuple[float, float, float] = (0.5, 0.0, 0.0), **changes: Any) -> t.Loop:
    """Make a loop of signal 0 and setpoint 0 that drives output 0; `gains` are kp, bi, bd."""
    kp, bi, bd = gains
    plain = t.Loop(
        name=name, unit="deg", signal=0, terms=(t.Term(0, 0.0),), inputs=(), kp=kp, bi=bi,
        br=0.01, ad=load_f32(0.75), bd=bd, low=-1.0, high=1.0, integral_limit=MOST, dead_band=0.0,
        bumpless=False, every_ticks=1, fade_step=None, bleed_step=0.02, output=0, acts_in=None,
        place=NOWHERE,
    )  # fmt: skip
    return _rounded(replace(plain, **changes))


def output(name: str, **changes: Any) -> t.Output:
    """Make an output of -1 to 1 that loop 0 drives."""
    return _rounded(replace(t.Output(name, -1.0, 1.0, None, None, None, None, (0,), NOWHERE), **changes))


def supply(signal: int, full_scale_at: float, **changes: Any) -> t.Supply:
    """Make a supply that is smoothed a little and has no least value."""
    return _rounded(replace(t.Supply(signal, full_scale_at, 1 / 6, None, 0), **changes))


def stall(signal: int, *, above: float, moves: float, for_ms: int) -> t.Stall:
    return _rounded(t.Stall(above, signal, moves, for_ms))


def _rounded(thing: Table) -> Table:
    """Round every number of a table to binary32, as when a file is loaded."""
    names = [field.name for field in fields(thing)]
    numbers = {name: value for name in names if isinstance(value := getattr(thing, name), float)}
    rounded: dict[str, Any] = {name: load_f32(value) for name, value in numbers.items()}
    return replace(thing, **rounded)
