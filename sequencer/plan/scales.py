"""From raw samples to steps by whole numbers: a multiplication, a sum and a shift in int32."""

from dataclasses import dataclass
from fractions import Fraction

from sequencer.plan.fixed_tables import MOST_STEPS, Scale
from sequencer.plan.tables import Signal
from sequencer.plan.whole_steps import decimal, rounded, saturated

_MOST_SHIFT = 30
_WIDTHS = (2**15 - 1, 2**16 - 1)  # a product of two int16 is cheap on 8 bits
_MOST_LINE = 2**31 - 1 - MOST_STEPS - 1  # a zero may be subtracted before it is limited


@dataclass(frozen=True, slots=True)
class Fitted:
    """A scale, and by how many steps it is off at most within the signal's span."""

    scale: Scale
    error: float


def fitted(signal: Signal, resolution: float) -> Fitted:
    """Find the scale that comes nearest to gain and bias: the largest multiplier for which int32 will do."""
    if not signal.scaled:
        return Fitted(Scale(1, rounded(decimal(signal.bias) / decimal(resolution)), 0), 0.0)
    gain = Fraction(signal.gain) / decimal(resolution)
    bias = Fraction(signal.bias) / decimal(resolution)
    found = [_of_width(gain, bias, width) for width in _WIDTHS]
    tried = [Fitted(scale, _error(signal, resolution, scale)) for scale in found if scale is not None]
    good = [one for one in tried if one.error < 0.5]
    if good:
        return good[0]
    return min(tried, key=lambda one: one.error, default=Fitted(Scale(0, 0, 0), float("inf")))


def raw_ends(signal: Signal) -> tuple[float, float]:
    """Give the raw readings at the ends of a scaled signal's span, the lower first."""
    ends = [(end - signal.bias) / signal.gain for end in (signal.low, signal.high)]
    return min(ends), max(ends)


def _of_width(gain: Fraction, bias: Fraction, width: int) -> Scale | None:
    for shift in range(_MOST_SHIFT, -1, -1):
        multiplier = rounded(gain * 2**shift)
        half = 2 ** (shift - 1) if shift else 0
        addend = rounded(bias * 2**shift) + half
        if abs(multiplier) <= width and abs(multiplier) * (MOST_STEPS + 1) + abs(addend) <= _MOST_LINE:
            return Scale(multiplier, addend, shift)
    return None


def _error(signal: Signal, resolution: float, scale: Scale) -> float:
    """Give the largest error before rounding within the span: at one of its ends, for both are lines."""
    gain = Fraction(signal.gain) / decimal(resolution)
    bias = Fraction(signal.bias) / decimal(resolution)
    half = 2 ** (scale.shift - 1) if scale.shift else 0
    ends = [Fraction(saturated(end)) for end in raw_ends(signal)]
    errors = [
        (raw * scale.multiplier + scale.addend - half) / 2**scale.shift - (raw * gain + bias) for raw in ends
    ]
    return float(max(abs(error) for error in errors))
