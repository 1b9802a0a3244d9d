"""Packed columns come back to the bit, and are as short as the size of a report needs."""

import base64
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from sequencer.show.report.pack import NumberType, pack, unpack

TYPES: tuple[NumberType, ...] = ("f4", "f8", "u1", "u2", "u4")


@settings(max_examples=60, deadline=None)
@given(st.data(), st.sampled_from(TYPES))
def test_numbers_come_back_to_the_bit(data: st.DataObject, kind: NumberType) -> None:
    size = np.dtype(kind).itemsize
    bits = data.draw(hnp.arrays(np.uint8, st.integers(0, 40).map(lambda n: n * size)))
    numbers = bits.view(f"<{kind}")  # any bit pattern: NaN with any payload, -0, subnormals, infinities
    again = unpack(pack(numbers, kind))
    assert again.dtype == numbers.dtype
    assert again.tobytes() == numbers.tobytes()


@pytest.mark.parametrize("kind", TYPES)
def test_none_and_one_come_back(kind: NumberType) -> None:
    assert unpack(pack(np.zeros(0), kind)).tolist() == []
    assert unpack(pack(np.array([7]), kind)).tolist() == [7]


def test_it_is_raw_deflate_of_byte_planes_as_the_scripts_undo_it() -> None:
    packed = pack(np.array([1.0, 1.0, 2.0], np.float32), "f4")
    planes = zlib.decompress(base64.b64decode(packed.text), wbits=-15)
    # 1.0 is 3f800000, 2.0 is 40000000; XOR with the one before: 3f800000, 0, 7f800000; lowest bytes first
    assert planes == bytes([0, 0, 0, 0, 0, 0, 0x80, 0, 0x80, 0x3F, 0, 0x7F])


def test_a_signal_that_is_held_between_samples_takes_few_bytes_a_tick() -> None:
    rng = np.random.default_rng(1)
    tilt = (15 * np.sin(np.arange(50_000) / 200) + rng.normal(0, 0.2, 50_000)).astype(np.float32)
    assert len(pack(np.repeat(tilt, 2), "f4").text) < 2.5 * 100_000


def test_a_flipped_byte_is_seen() -> None:
    packed = pack(np.arange(100, dtype=np.float32), "f4")
    planes = bytearray(zlib.decompress(base64.b64decode(packed.text), wbits=-15))
    planes[17] ^= 1
    squeezer = zlib.compressobj(6, zlib.DEFLATED, -15)
    text = base64.b64encode(squeezer.compress(bytes(planes)) + squeezer.flush()).decode()
    assert unpack(type(packed)("f4", 100, text)).tolist() != np.arange(100).tolist()
