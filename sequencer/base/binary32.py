"""IEEE-754 binary32 on top of Python's binary64.

Sums, differences and products of two binary32 numbers are exact enough in binary64 that rounding the
binary64 result once more to binary32 gives the correctly rounded binary32 result: 53 >= 2 * 24 + 2
(S. A. Figueroa, "When is double rounding innocuous?", SIGNUM Newsletter 30(3), 1995; cited from memory).
"""

import ctypes
import math

_INF = math.inf


def f32(x: float) -> float:
    """Round to the nearest binary32; too large becomes infinity, subnormals are kept.

    >>> f32(0.1)
    0.10000000149011612
    """
    return ctypes.c_float(x).value


def load_f32(x: float) -> float:
    """Round a number from a file: as `f32`, and -0 becomes +0."""
    return f32(x) + 0.0


def is_finite(x: float) -> bool:
    """Tell whether x is neither NaN nor infinite."""
    return math.isfinite(x)


def literal(x: float) -> str:
    """Spell a finite binary32 number so that it reads back to the same bits, as a C++ float literal.

    >>> literal(f32(0.1)), literal(60.0), literal(f32(1e-7))
    ('0.1F', '60.0F', '1.0e-7F')
    """
    for digits in range(1, 10):
        short = float(f"{x:.{digits}g}")
        # a compiler rounds the digits to binary32 at once, we by way of binary64: near a tie they may differ
        if f32(short) == f32(math.nextafter(short, _INF)) == f32(math.nextafter(short, -_INF)) == x:
            break
    text = repr(short)
    mantissa, _, exponent = text.partition("e")
    if "." not in mantissa:
        mantissa += ".0"
    return f"{mantissa}e{int(exponent)}F" if exponent else f"{mantissa}F"
