"""Readings to whole steps: the nearest, ties away from zero, limited; what is no number is told apart."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.plans import Phase, make_plan, parameter, signal

from sequencer.base.binary32 import f32
from sequencer.plan.fixed import in_int16
from sequencer.plan.fixed_tables import MOST_STEPS, NO_NUMBER
from sequencer.plan.resolutions import Given
from sequencer.trace.blocks import FRESH_RAW, FRESH_VALUE, ParameterWrite, empty_block
from sequencer.trace.steps import block_in_steps, whole_steps


def steps(reading: float, resolution: float) -> float:
    return float(whole_steps(np.array([reading], np.float32), np.array([resolution], np.float32))[0])


def by_the_rule(reading: float, resolution: float) -> int:
    """As C's lround of the binary32 quotient (ISO C 7.12.9.7): halves go away from zero."""
    if not math.isfinite(reading):
        return NO_NUMBER
    with np.errstate(over="ignore"):
        quotient = float(np.float32(reading) / np.float32(resolution))
    if math.isinf(quotient):
        return int(math.copysign(MOST_STEPS, quotient))
    size = math.floor(abs(Fraction(quotient)) + Fraction(1, 2))
    return int(math.copysign(min(size, MOST_STEPS), quotient))


@given(st.floats(width=32), st.sampled_from([0.001, 0.01, 0.25, 1 / 64, 3.0]))
def test_any_reading_follows_the_rule(reading: float, size: float) -> None:
    assert steps(reading, f32(size)) == by_the_rule(reading, f32(size))


@given(st.integers(-70_000, 70_000), st.sampled_from([0.25, 0.5, 1 / 64]))
def test_readings_on_and_between_steps_follow_the_rule(halves: int, size: float) -> None:
    for near in (halves * size / 2, *(float(np.nextafter(np.float32(halves * size / 2), np.float32(w)))
                                      for w in (-1e30, 1e30))):  # fmt: skip
        assert steps(near, size) == by_the_rule(near, size)


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (0.125, 1), (-0.125, -1), (0.1249, 0), (0.375, 2), (-0.0, 0), (8191.75, 32767), (8191.9, 32767),
        (1e9, 32767), (-8192.0, -32767), (-3.4e38, -32767), (math.nan, -32768), (math.inf, -32768),
    ],
)  # fmt: skip
def test_ties_ends_and_what_is_no_number(reading: float, expected: int) -> None:
    found = steps(reading, 0.25)
    assert found == expected
    assert math.copysign(1, found) == math.copysign(1, expected), "there is no minus nothing"


def test_raw_readings_of_a_scaled_signal_are_rounded_as_they_are() -> None:
    plan = make_plan(
        {"walk": [Phase("rest")]},
        signals=[signal("pot", gain=0.05, scaled=True), signal("tilt")],
        parameters=[parameter("p", 1, -30, 30)],
    )
    sizes = (f32(0.01), 0.25)
    given = {("signal", i): Given(size, plan.signals[i].place) for i, size in enumerate(sizes)}
    whole, problems = in_int16(plan, given)  # type: ignore[arg-type]
    assert problems == [] and whole.fixed is not None
    block = empty_block(2, 2)
    block.fresh[:] = [[FRESH_RAW, FRESH_RAW], [FRESH_VALUE, FRESH_VALUE]]
    block.raw[:] = [[512.5, 1.0], [5.0, 1.0]]
    block = replace(block, writes=(ParameterWrite(0, 0, 1.0), ParameterWrite(1, 0, float("nan"))))
    found = block_in_steps(whole, block)
    assert found.raw.tolist() == [[513.0, 4.0], [500.0, 4.0]]
    size = whole.fixed.parameters[0]
    assert [write.value for write in found.writes] == [round(1 / size), NO_NUMBER]
