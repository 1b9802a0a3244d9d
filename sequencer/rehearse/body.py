"""A body as plain tables, in SI units (m, rad, kg, s, N, Nm, V), with names resolved to numbers."""

from dataclasses import dataclass
from typing import Literal

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Joint:
    """How a link hangs on another.

    axis: unit vector of the turn or slide, in the frame of the link it hangs on. sign: -1 if it is counted
    the other way. stands_at, low, high: in the joint's own count; low and high are None without stops.
    """

    name: str
    turns: bool
    axis: Vector
    sign: float
    stands_at: float
    low: float | None
    high: float | None
    friction: float


@dataclass(frozen=True, slots=True)
class Link:
    """A stiff part. `on` is the link it hangs on (always an earlier one), None for the trunk.

    form: box (size: half lengths), rod (size[2]: length, down from the joint), sole (size: half length, half
    width, distance from the joint down to the floor) or ball (size[0]: radius). centre: of a box.
    """

    name: str
    on: int | None
    at: Vector
    joint: Joint | None
    mass: float
    form: Literal["box", "rod", "sole", "ball"]
    size: Vector
    centre: Vector

    @property
    def is_foot(self) -> bool:
        """Whether the floor can carry it."""
        return self.form in ("sole", "ball")


@dataclass(frozen=True, slots=True)
class Drive:
    """A motor with its gear.

    joint: the link whose joint it moves. output, setpoint: indices into the plan, one of them None.
    speed: at full duty without load, and at the supply `at` (None: at any). stall: load at which it stands
    still. stiffness: of all between motor and joint. damping: beside that. slack: the play in all.
    self_locking: no load moves it backwards.
    """

    name: str
    joint: int
    output: int | None
    setpoint: int | None
    setpoint_scale: float  # turns the setpoint's unit into SI
    speed: float
    at: float | None
    stall: float
    lag: float
    stiffness: float
    damping: float
    slack: float
    self_locking: bool


@dataclass(frozen=True, slots=True)
class Sense:
    """What one signal of the plan senses; scale turns SI into the signal's unit. kind supply is the battery.

    what: the link (tilt, load: the foot; joint: the link whose joint it is; motor: the drive). value: steady.
    """

    signal: int
    kind: Literal["roll", "pitch", "joint", "motor", "load", "steady", "supply"]
    what: int
    value: float
    scale: float


@dataclass(frozen=True, slots=True)
class Body:
    """A body; `friction` between feet and floor; `fallen_*` says when it counts as fallen.

    volts: the supply at the start, None if there is none. falls: how fast it sags, V/s.
    """

    name: str
    source: str
    links: tuple[Link, ...]
    drives: tuple[Drive, ...]
    senses: tuple[Sense, ...]
    friction: float
    fallen_tilt: float
    fallen_below: float
    volts: float | None
    falls: float

    @property
    def feet(self) -> tuple[int, ...]:
        """The links that are feet."""
        return tuple(i for i, link in enumerate(self.links) if link.is_foot)
