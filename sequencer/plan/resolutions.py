"""How large a step of each signal, setpoint and parameter is: what is compared has the same one."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from sequencer.base.binary32 import f32
from sequencer.base.places import Place
from sequencer.plan.tables import Compare, Follow, Level, Parameter, Plan, Setpoint, Signal
from sequencer.plan.whole_steps import decimal

Kind = Literal["signal", "setpoint", "parameter", "counter"]
Member = tuple[Kind, int]
COUNTERS: Member = ("counter", 0)  # all of them: what is compared with a counter counts in ones
_USUAL_STEPS = 16_000  # of the largest number, where the file does not say; the rest is for sums


@dataclass(frozen=True, slots=True)
class Given:
    """A resolution that the file gives, in the unit of its row."""

    resolution: float
    place: Place


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that does not work in int16; it becomes an error of the file."""

    place: Place
    message: str
    expected: str
    fix: str = ""


@dataclass
class Resolutions:
    """The resolution of each row in binary32, the place of what gave it, and what was in the way.

    groups: what meets in comparisons, counters left out.
    """

    of: dict[Member, float] = field(default_factory=dict)
    groups: list[list[Member]] = field(default_factory=list)
    places: dict[Member, Place] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def resolutions(plan: Plan, given: Mapping[Member, Given]) -> Resolutions:
    """Work out all resolutions: a group that meets in comparisons takes the one that the file gives for it.

    Where the file gives none, the group's largest number is divided into at most 16,000 steps of a size that
    is 1, 2 or 5 times a power of ten.
    """
    found = Resolutions()
    for group in _groups(plan):
        said = {member: given[member] for member in group if member in given}
        if COUNTERS in group:
            resolution = 1.0
        elif said:
            resolution = next(iter(said.values())).resolution
        else:
            resolution = nice(max(_largest(plan, member) for member in group) / _USUAL_STEPS)
        others = [member for member, one in said.items() if one.resolution != resolution]
        if others:
            found.problems.append(_conflict(plan, said, others[0], resolution))
        found.of |= dict.fromkeys(group, resolution)
        found.groups.append([member for member in group if member != COUNTERS])
        for member in found.groups[-1]:
            source = said.get(member, next(iter(said.values()), None))
            found.places[member] = row(plan, member).place if source is None else source.place
    return found


def row(plan: Plan, member: Member) -> Signal | Setpoint | Parameter:
    """Find the row of a member."""
    kind, index = member
    if kind == "signal":
        return plan.signals[index]
    return plan.setpoints[index] if kind == "setpoint" else plan.parameters[index]


def nice(least: float, *, up: bool = True) -> float:
    """Give the next 1, 2 or 5 times a power of ten: at least, or at most, so much; in binary32."""
    power = math.floor(math.log10(least))
    wanted = Fraction(least)
    sizes = [Fraction(m) * Fraction(10) ** (power + p) for p in (-1, 0, 1) for m in (1, 2, 5)]
    # a little leeway: what stands in the file as 0.01 is not the number 1/100
    fits = [s for s in sizes if (s * (1 + _LEEWAY) >= wanted if up else s * (1 - _LEEWAY) <= wanted)]
    return f32(float(min(fits) if up else max(fits)))


_LEEWAY = Fraction(1, 10**6)


def _conflict(plan: Plan, said: Mapping[Member, Given], other: Member, resolution: float) -> Problem:
    one = next(iter(said))
    if said[one].resolution == said[other].resolution:  # both meet a counter
        return Problem(
            said[other].place,
            f"{row(plan, other).name} is compared with a counter",
            "no resolution: counters count in ones",
        )
    unit = row(plan, other).unit
    return Problem(
        said[other].place,
        f"{row(plan, other).name} has steps of {said[other].resolution:g} {unit}, {row(plan, one).name} of "
        f"{resolution:g} {unit}, and the two are compared",
        "the same resolution for both",
        f"{min(resolution, said[other].resolution):g} {unit} for both",
    )


def _largest(plan: Plan, member: Member) -> float:
    """Give the largest number of a row, either way."""
    if member == COUNTERS:
        return 1.0
    of = row(plan, member)
    return max(abs(of.low), abs(of.high))


def _groups(plan: Plan) -> list[list[Member]]:
    """Gather what meets in comparisons; everything is in one group."""
    leader: dict[Member, Member] = {member: member for member in _members(plan)}

    def find(member: Member) -> Member:
        while leader[member] != member:
            member = leader[member]
        return member

    for one, other in _meetings(plan):
        leader[find(other)] = find(one)
    groups: dict[Member, list[Member]] = {}
    for member in leader:
        groups.setdefault(find(member), []).append(member)
    return list(groups.values())


def _members(plan: Plan) -> Iterator[Member]:
    yield COUNTERS
    yield from (("signal", i) for i in range(len(plan.signals)))
    yield from (("setpoint", i) for i in range(len(plan.setpoints)))
    yield from (("parameter", i) for i in range(len(plan.parameters)))


def _meetings(plan: Plan) -> Iterator[tuple[Member, Member]]:
    for i, setpoint in enumerate(plan.setpoints):
        yield from ((("setpoint", i), ("signal", follower.signal)) for follower in setpoint.followers)
    for i, signal in enumerate(plan.signals):
        if signal.zero_from is not None:
            yield ("signal", i), ("parameter", signal.zero_from)
    for member, level, _ in levels(plan):
        if level.parameter is not None:
            yield member, ("parameter", level.parameter)


def levels(plan: Plan) -> Iterator[tuple[Member, Level, Place]]:
    """List every threshold, tolerance and target, with what it is held against and its place."""
    for leaf in plan.leaves:
        found: tuple[Level | None, ...] = ()
        member = COUNTERS
        if isinstance(leaf, Compare):
            found = (leaf.low, leaf.high, leaf.release_low, leaf.release_high)
            member = ("signal", leaf.index) if leaf.source == "signal" else COUNTERS
        elif isinstance(leaf, Follow):
            found, member = (leaf.tolerance, leaf.release), ("setpoint", leaf.setpoint)
        yield from ((member, level, leaf.place) for level in found if level is not None)
    for sequence in plan.sequences:
        for phase in sequence.phases:
            for command in phase.commands:
                yield ("setpoint", command.setpoint), command.level, command.place


def steps_in(x: float, resolution: float) -> float:
    """Tell how many steps a number is, not rounded."""
    return float(decimal(x) / decimal(resolution))
