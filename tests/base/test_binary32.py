"""binary32 against numpy.float32 and the C library's strtof."""

import ctypes
import math
import struct

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sequencer.base.binary32 import f32, is_finite, literal, load_f32

doubles = st.floats(allow_nan=False)
bit_patterns = st.integers(0, 2**32 - 1)

_libc = ctypes.CDLL(None)
_libc.strtof.restype = ctypes.c_float
_libc.strtof.argtypes = [ctypes.c_char_p, ctypes.c_void_p]


def bits(x: float) -> int:
    return int(struct.unpack("<I", struct.pack("<f", x))[0])


def of_bits(pattern: int) -> float:
    return float(struct.unpack("<f", struct.pack("<I", pattern))[0])


@given(doubles)
@example(1e-45)  # subnormal
@example(1.4e-45 / 2)  # a tie with zero: to even
@example(2**-149 * 1.5)  # a tie between two subnormals
@example(3.4028235677973366e38)  # half way past the largest: to infinity
@example(3.4028235677973362e38)  # just below: the largest
@example(1 + 2**-24)  # ties to even, down
@example(1 + 3 * 2**-24)  # ties to even, up
@example(-0.0)
def test_rounding_is_that_of_numpy(x: float) -> None:
    with np.errstate(over="ignore", under="ignore"):
        expected = float(np.float32(x))
    assert (f32(x), math.copysign(1, f32(x))) == (expected, math.copysign(1, expected))


@given(bit_patterns, bit_patterns)
def test_sums_differences_and_products_by_way_of_binary64_are_those_of_binary32(a: int, b: int) -> None:
    x, y = of_bits(a), of_bits(b)
    with np.errstate(all="ignore"):
        pairs = [
            (f32(x + y), np.float32(x) + np.float32(y)),
            (f32(x - y), np.float32(x) - np.float32(y)),
            (f32(x * y), np.float32(x) * np.float32(y)),
        ]
    for ours, theirs in pairs:
        assert ours == theirs or (math.isnan(ours) and np.isnan(theirs))


@given(doubles)
def test_a_number_from_a_file_is_never_minus_zero(x: float) -> None:
    assert load_f32(x) == f32(x)
    assert load_f32(x) != 0 or math.copysign(1, load_f32(x)) == 1


@given(bit_patterns.filter(lambda pattern: math.isfinite(of_bits(pattern))))
@example(bits(f32(16777217.0)))
@example(1)  # the smallest subnormal
@example(0x007FFFFF)  # the largest subnormal
@example(0x00800000)  # the smallest normal
@example(0x7F7FFFFF)  # the largest
@example(0x80000000)  # -0
def test_a_literal_reads_back_to_the_same_bits_in_the_c_library(pattern: int) -> None:
    text = literal(of_bits(pattern))
    assert text.endswith("F")
    assert bits(_libc.strtof(text[:-1].encode(), None)) == pattern


@pytest.mark.parametrize(
    ("x", "text"), [(0.1, "0.1F"), (60.0, "60.0F"), (1e-7, "1.0e-7F"), (-2.5, "-2.5F"), (0.0, "0.0F")]
)
def test_a_literal_is_as_short_as_it_can_be(x: float, text: str) -> None:
    assert literal(f32(x)) == text


def test_finite_means_neither_infinite_nor_not_a_number() -> None:
    assert [is_finite(x) for x in (0.0, 1e38, math.inf, -math.inf, math.nan)] == [
        True,
        True,
        False,
        False,
        False,
    ]
