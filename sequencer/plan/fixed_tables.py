"""The tables of a plan that is worked out in int16; see "Arithmetic in int16" in DEVELOPERS.md."""

from dataclasses import dataclass

MOST_STEPS = 32_767  # what a value may come to, either way; it stays there (saturates)
MOST_OF_SPAN = 32_766  # so that a value that saturates is outside its span
NO_NUMBER = -32_768  # a sample or a written parameter that is no finite number


@dataclass(frozen=True, slots=True)
class Scale:
    """From a raw sample to steps: (raw * multiplier + addend) >> shift in int32, then saturated.

    `addend` holds the half that makes the shift round. A signal without a scale gives its samples in steps
    already: multiplier 1, shift 0.
    """

    multiplier: int
    addend: int
    shift: int


@dataclass(frozen=True, slots=True)
class FixedPoint:
    """How large a step is, in the unit of each row and in binary32, and how samples become steps."""

    signals: tuple[float, ...]
    setpoints: tuple[float, ...]
    parameters: tuple[float, ...]
    scales: tuple[Scale, ...]  # one for each signal
