"""From a plan in binary32 to one in int16: resolutions, scales, and what does not work in whole steps."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from sequencer.base.places import Place
from sequencer.plan.fixed_tables import MOST_OF_SPAN, MOST_STEPS, FixedPoint
from sequencer.plan.levels import level_value
from sequencer.plan.resolutions import (
    COUNTERS,
    Given,
    Member,
    Problem,
    Resolutions,
    levels,
    nice,
    resolutions,
    row,
    steps_in,
)
from sequencer.plan.scales import Fitted, fitted, raw_ends
from sequencer.plan.tables import Compare, Follow, Level, Plan
from sequencer.plan.whole_steps import in_force, steps_of

_MOST_OFF = 0.05  # of a rate, by rounding


def in_int16(plan: Plan, given: Mapping[Member, Given]) -> tuple[Plan, list[Problem]]:
    """Give the plan in whole steps, its numbers those that are in force, and what is in the way.

    given: the resolutions that the machine file gives. With problems the plan is as it was.
    """
    found = resolutions(plan, given)
    if found.problems:
        return plan, found.problems
    scales = [fitted(signal, found.of["signal", i]) for i, signal in enumerate(plan.signals)]
    fixed = FixedPoint(
        signals=tuple(found.of["signal", i] for i in range(len(plan.signals))),
        setpoints=tuple(found.of["setpoint", i] for i in range(len(plan.setpoints))),
        parameters=tuple(found.of["parameter", i] for i in range(len(plan.parameters))),
        scales=tuple(one.scale for one in scales),
    )
    whole = replace(plan, fixed=fixed)
    problems = [*_spans(plan, found), *_scales(plan, found, scales)]
    if not problems:  # what follows would only say the same of single numbers
        problems = [problem for look in _LOOKS for problem in look(plan, found)]
    return (plan, problems) if problems else (in_force(whole), [])


# -- too fine ----------------------------------------------------------------------------------------------


def _too_fine(found: Resolutions, member: Member, name: str, unit: str, largest: float) -> Problem:
    resolution = found.of[member]
    steps = f"{round(largest / resolution)} steps of {resolution:g} {unit}"
    return Problem(
        found.places[member],
        f"{name} comes to {largest:g} {unit}, {steps}; int16 holds {MOST_OF_SPAN}",
        f"a resolution of {nice(largest / MOST_OF_SPAN):g} {unit} or coarser",
    )


def _spans(plan: Plan, found: Resolutions) -> Iterator[Problem]:
    """Find spans that do not fit, of each group the largest, and spans of no step."""
    for group in found.groups:
        ends = {member: _span(plan, found, member) for member in group}
        for member, (low, high) in ends.items():
            of = row(plan, member)
            if low == high:
                message = f"the span of {of.name} is less than a step of {found.of[member]:g} {of.unit}"
                yield Problem(found.places[member], message, "a finer resolution")
        widest = max(group, key=lambda member: max(map(abs, ends[member])), default=COUNTERS)
        if widest != COUNTERS and max(map(abs, ends[widest])) > MOST_OF_SPAN:
            of = row(plan, widest)
            yield _too_fine(found, widest, of.name, of.unit, max(abs(of.low), abs(of.high)))


def _span(plan: Plan, found: Resolutions, member: Member) -> tuple[int, int]:
    of = row(plan, member)
    return steps_of(of.low, found.of[member]), steps_of(of.high, found.of[member])


def _scales(plan: Plan, found: Resolutions, scales: list[Fitted]) -> Iterator[Problem]:
    for i, (signal, one) in enumerate(zip(plan.signals, scales, strict=True)):
        place = found.places["signal", i]
        if not signal.scaled:
            if abs(one.scale.addend) > MOST_STEPS:
                yield Problem(place, f"the zero of {signal.name} is beyond int16", "a coarser resolution")
            continue
        low, high = raw_ends(signal)
        if max(abs(low), abs(high)) > MOST_STEPS:
            reads = f"{signal.name} reads {low:.0f} to {high:.0f} counts within its span"
            message = f"{reads}; int16 holds {MOST_STEPS}"
            fix = "have the program that reads it hand on half of the count, and halve counts in scale"
            yield Problem(place, message, f"counts from -{MOST_STEPS} to {MOST_STEPS}", fix)
        elif one.error >= 0.5:
            message = f"{signal.name} can be scaled in whole numbers to {one.error:.1f} steps only"
            yield Problem(place, message, "a coarser resolution, so that it comes to less than half a step")


def _levels(plan: Plan, found: Resolutions) -> Iterator[Problem]:
    """Find thresholds and targets that do not fit with all that their parameters can be."""
    for member, level, place in levels(plan):
        most = max(abs(end) for end in _ends(plan, found, level, found.of[member]))
        if member == COUNTERS:
            if level.plus is not None and not level.plus.is_integer():
                yield Problem(place, f"a counter never stands at {level.plus:g}", "a whole number")
            elif level.parameter is not None and most > MOST_STEPS:
                message = f"a threshold comes to {most}; int16 holds {MOST_STEPS}"
                yield Problem(place, message, "a smaller number")
        elif most > MOST_STEPS:
            yield _beyond(plan, found, member, place, "this", most)


def _beyond(plan: Plan, found: Resolutions, member: Member, place: Place, what: str, steps: int) -> Problem:
    of = row(plan, member)
    largest = steps * found.of[member]
    problem = _too_fine(found, member, f"{what}, measured as {of.name} is,", of.unit, largest)
    return replace(problem, place=place)


def _ends(plan: Plan, found: Resolutions, level: Level, resolution: float) -> tuple[int, int]:
    """Give the least and largest steps that a level comes to while its parameter is trimmed."""
    plus = 0 if level.plus is None else steps_of(level.plus, resolution)
    if level.parameter is None:
        return plus, plus
    parameter = plan.parameters[level.parameter]
    sign = -1 if level.negated else 1
    step = found.of["parameter", level.parameter]
    low, high = sorted(sign * steps_of(end, step) for end in (parameter.low, parameter.high))
    return low + plus, high + plus


def _reaches(plan: Plan, found: Resolutions) -> Iterator[Problem]:
    """Find targets that do not fit with stance offset and tolerance: 16 bits must do for comparing."""
    for leaf in plan.leaves:
        if not isinstance(leaf, Follow):
            continue
        member: Member = ("setpoint", leaf.setpoint)
        setpoint, resolution = plan.setpoints[leaf.setpoint], found.of[member]
        tolerances = [level for level in (leaf.tolerance, leaf.release) if level is not None]
        wide = max(abs(end) for level in tolerances for end in _ends(plan, found, level, resolution))
        low, high = steps_of(setpoint.low, resolution), steps_of(setpoint.high, resolution)
        offsets = [steps_of(follower.offset, resolution) for follower in setpoint.followers]
        most = wide + max((max(abs(low + o), abs(high + o)) for o in offsets), default=0)
        if most > MOST_STEPS:
            yield _beyond(plan, found, member, leaf.place, "a target with its tolerance", most)


# -- too coarse --------------------------------------------------------------------------------------------


def _too_coarse(place: Place, message: str, unit: str, most: float) -> Problem:
    return Problem(place, message, f"a resolution of {nice(most, up=False):g} {unit} or finer")


def _rates(plan: Plan, found: Resolutions) -> Iterator[Problem]:
    """Find ramps that would not move about as fast as the file says."""
    for i, setpoint in enumerate(plan.setpoints):
        rate = setpoint.rate
        if rate is None:
            continue
        if rate.parameter is not None:
            message = f"the rate of {setpoint.name} is multiplied by a parameter, which int16 cannot do"
            yield Problem(setpoint.place, message, "a plain rate, or arithmetic: binary32")
            continue
        resolution = found.of["setpoint", i]
        exact, steps = steps_in(rate.step, resolution), steps_of(rate.step, resolution)
        if abs(steps - exact) > _MOST_OFF * exact:
            message = (
                f"{setpoint.name} moves by {rate.step:g} {setpoint.unit} in a tick: {exact:.2f} steps of "
                f"{resolution:g} {setpoint.unit}, which is not near a whole number"
            )
            yield _too_coarse(found.places["setpoint", i], message, setpoint.unit, 2 * _MOST_OFF * rate.step)
        elif steps > MOST_STEPS:
            message = f"{setpoint.name} moves by {steps} steps in a tick; int16 holds {MOST_STEPS}"
            yield Problem(setpoint.place, message, "a slower rate, none, or a coarser resolution")


def _vanished(plan: Plan, found: Resolutions) -> Iterator[Problem]:
    """Find tolerances and release gaps that become nothing."""
    for leaf in plan.leaves:
        if not isinstance(leaf, Compare | Follow):
            continue
        if isinstance(leaf, Compare):
            member: Member = ("signal", leaf.index) if leaf.source == "signal" else COUNTERS
            pairs = [(leaf.low, leaf.release_low), (leaf.high, leaf.release_high)]
        else:
            member, pairs = ("setpoint", leaf.setpoint), [(leaf.tolerance, leaf.release)]
            size = _value(plan, leaf.tolerance)
            if size != 0 and steps_of(size, found.of[member]) == 0:
                message = f"a tolerance of {size:g} {leaf.unit} is less than half a step"
                yield _too_coarse(leaf.place, message, leaf.unit, 2 * abs(size))
        for normal, released in pairs:
            if normal is None or released is None or member == COUNTERS:
                continue
            values = [_value(plan, level) for level in (normal, released)]
            if values[0] != values[1] and len({steps_of(v, found.of[member]) for v in values}) == 1:
                message = f"the release at {values[1]:g} {leaf.unit} is not a step away from {values[0]:g}"
                yield _too_coarse(leaf.place, message, leaf.unit, abs(values[0] - values[1]))


def _named(plan: Plan, found: Resolutions) -> Iterator[Problem]:
    """Find parameters that give loops and outputs their numbers and would change by rounding."""
    for index in _named_numbers(plan):
        parameter, size = plan.parameters[index], found.of["parameter", index]
        exact, steps = steps_in(parameter.value, size), steps_of(parameter.value, size)
        if abs(steps - exact) > _MOST_OFF * abs(exact):
            message = f"{parameter.name} is {exact:.2f} steps of {size:g} {parameter.unit}".rstrip()
            expected = "near a whole number of steps: a span that reaches not so far beyond the value"
            yield Problem(parameter.place, message, expected)


def _named_numbers(plan: Plan) -> list[int]:
    found: dict[int | None, None] = {}
    for loop in plan.loops:
        found |= dict.fromkeys((loop.kp_times, loop.bi_times, loop.bd_times, loop.limit_from))
    found |= dict.fromkeys(output.cap_from for output in plan.outputs)
    return [index for index in found if index is not None]


def _value(plan: Plan, level: Level) -> float:
    return level_value(level, [parameter.value for parameter in plan.parameters])


_LOOKS = (_levels, _reaches, _rates, _vanished, _named)
