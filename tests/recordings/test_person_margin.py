"""The person's gait file is for walkers that nobody has seen yet, so it must have room on every side.

Person A's walk is altered: other sample rates, weaker and stronger, slower and faster steps, noise, a zero
that is off, a sensor that is turned, other kinds of steps. Each threshold and each hold is moved by 30 %
both ways.
"""

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from support.recordings import EXECUTORS, FOLDER, TIP_RATES, Altered, Array, Segmented, gait, segment
from support.segmentation import table
from support.walks import person_a, person_a_matches, person_b, whole_strides

from sequencer.plan.tables import Plan

OWN_NAMES = {name: name for name in TIP_RATES}
LEAST_RECALL = 0.98

ALTERED = {
    "100 Hz": Altered(rate_hz=100),
    "102.4 Hz": Altered(rate_hz=102.4),
    "50 Hz": Altered(rate_hz=50),
    "rates x 0.6": Altered(gain=0.6),
    "rates x 0.8": Altered(gain=0.8),
    "rates x 1.2": Altered(gain=1.2),
    "rates x 1.4": Altered(gain=1.4),
    "times x 0.8": Altered(slower=0.8),
    "times x 1.3": Altered(slower=1.3),
    "slower walk: times x 1.6, rates / 1.6": Altered(slower=1.6, gain=1 / 1.6),
    "faster walk: times x 0.6, rates x 1.4": Altered(slower=0.6, gain=1.4),
    "noise 10 deg/s": Altered(noise=10),
    "noise 20 deg/s": Altered(noise=20),
    "zero 8 deg/s too low": Altered(zero=-8),
    "zero 8 deg/s too high": Altered(zero=8),
    "sensor turned 20 deg out": Altered(turned_deg=20),
    "sensor turned 20 deg in": Altered(turned_deg=-20),
    "100 Hz, rates x 0.6, noise 5 deg/s": Altered(rate_hz=100, gain=0.6, noise=5),
    "100 Hz, times x 1.2, rates x 0.7, noise 5": Altered(rate_hz=100, slower=1.2, gain=0.7, noise=5),
    "100 Hz, times x 0.8, rates x 1.4, noise 5": Altered(rate_hz=100, slower=0.8, gain=1.4, noise=5),
}


def walk(change: Altered, name: str, folder: Path) -> Segmented:
    path = change.write(name, folder / name)
    return segment(gait("person"), EXECUTORS["compiled"], path, OWN_NAMES)


def test_altered_walks_are_told_as_well(tmp_path: Path, print_table: Callable[[str], None]) -> None:
    lines, weak, broken = [], [], []
    for name, change in ALTERED.items():
        contacts, _ = person_a_matches(walk(change, "person_a.csv", tmp_path), slower=change.slower)
        lines.append((name, contacts))
        if contacts.recall < LEAST_RECALL or contacts.precision < 0.95:
            weak.append(name)
        whole = whole_strides(walk(change, "person_b.csv", tmp_path), slower=change.slower)
        if whole != list(person_b()):
            broken.append(name)
    print_table(table("person A altered, contacts", lines))
    assert weak == []
    assert broken == []


@pytest.mark.parametrize("rate_hz", [100, 102.4])
def test_at_half_the_sample_rate_the_median_error_stays_below_one_and_a_half_samples(
    rate_hz: float, tmp_path: Path
) -> None:
    contacts, _ = person_a_matches(walk(Altered(rate_hz=rate_hz), "person_a.csv", tmp_path))
    assert contacts.median_ms <= 1500 / rate_hz


# -- other kinds of steps: each is what one guard of the file is there for ----------------------------------


def hesitating(foot: str, time: Array, rate: Array) -> Array:
    """Let the foot stop tipping in the middle of each swing, and tip the other way a little."""
    contacts, toe_offs = person_a(foot)
    shaped = rate.copy()
    for toe_off in toe_offs:
        contact = contacts[contacts > toe_off].min()
        middle = (toe_off + contact) / 2
        swing = (time > toe_off + 0.03) & (time < contact + 0.02)
        shaped[swing] *= 1 - 1.1 * np.exp(-(((time[swing] - middle) / 0.04) ** 2))
    return shaped


def flat_footed(foot: str, time: Array, rate: Array) -> Array:
    """Set the foot down flat: it does not slap down after the contact."""
    shaped = rate.copy()
    for contact in person_a(foot)[0]:
        after = (time > contact - 0.02) & (time < contact + 0.15)
        shaped[after] = np.minimum(shaped[after], 0)
    return shaped


def without(plan: Plan, phase: str, number: int) -> Plan:
    """Take a guard out of a phase of both sequences."""
    sequences = []
    for sequence in plan.sequences:
        phases = tuple(
            dataclasses.replace(p, exits=p.exits[: number - 1] + p.exits[number:]) if p.name == phase else p
            for p in sequence.phases
        )
        sequences.append(dataclasses.replace(sequence, phases=phases))
    return dataclasses.replace(plan, sequences=tuple(sequences))


@pytest.mark.parametrize(
    ("step", "phase", "number"),
    [
        (Altered(reshape=hesitating), "landing", 2),
        (Altered(reshape=flat_footed, zero=-8), "swing", 2),
        (Altered(), "stance", 2),
    ],
    ids=["foot hesitates in mid-swing", "foot set down flat, zero off", "first step without push-off"],
)
def test_contacts_are_found_in_odd_steps_too_and_not_without_the_guard_for_them(
    step: Altered, phase: str, number: int, tmp_path: Path
) -> None:
    path = step.write("person_a.csv", tmp_path / "odd.csv")
    recalls = []
    for plan in (gait("person"), without(gait("person"), phase, number)):
        contacts, _ = person_a_matches(segment(plan, EXECUTORS["reference"], path, OWN_NAMES))
        recalls.append(contacts.recall)
    assert recalls[0] == 1
    assert recalls[1] < 1


# -- thresholds and holds moved by 30 % -----------------------------------------------------------------


def parameters_moved(plan: Plan, factor: float) -> dict[str, Plan]:
    moved = {}
    for i, parameter in enumerate(plan.parameters):
        value = parameter.value * factor if parameter.value else 30 * (factor - 1)  # touch is 0: 10 deg/s
        changed = dataclasses.replace(parameter, value=value)
        moved[f"{parameter.name} {value:.0f} {parameter.unit}"] = dataclasses.replace(
            plan, parameters=(*plan.parameters[:i], changed, *plan.parameters[i + 1 :])
        )
    return moved


def holds_moved(plan: Plan, factor: float) -> dict[str, Plan]:
    """Move the holds of one kind of guard in both sequences at once."""
    moved = {}
    sequence, twin = plan.sequences
    for phase, other in zip(sequence.phases, twin.phases, strict=True):
        for number, (mine, its) in enumerate(zip(phase.exits, other.exits, strict=True), start=1):
            hold = plan.guards[mine.guard].hold
            if hold is None or hold.ms is None:
                continue
            ms = round(hold.ms * factor)
            both = {mine.guard, its.guard}
            guards = tuple(
                dataclasses.replace(g, hold=dataclasses.replace(g.hold, ms=ms))
                if g.index in both and g.hold
                else g
                for g in plan.guards
            )
            moved[f"{phase.name}, guard {number}, hold {ms} ms"] = dataclasses.replace(plan, guards=guards)
    return moved


@pytest.mark.parametrize("factor", [0.7, 1.3])
def test_every_threshold_and_hold_may_be_moved_by_30_percent(
    factor: float, print_table: Callable[[str], None]
) -> None:
    plan = gait("person")
    moved = parameters_moved(plan, factor) | holds_moved(plan, factor)
    assert len(moved) == 12
    lines, weak = [], []
    for name, changed in moved.items():
        a, b = (
            segment(changed, EXECUTORS["reference"], FOLDER / f"person_{who}.csv", TIP_RATES) for who in "ab"
        )
        contacts, _ = person_a_matches(a)
        lines.append((name, contacts))
        if contacts.recall < LEAST_RECALL or whole_strides(b) != list(person_b()):
            weak.append(name)
    print_table(table(f"person A, thresholds and holds x {factor}, contacts", lines))
    assert weak == []
