"""Whether a ramp gets anywhere in binary32."""

import struct

from sequencer.base.binary32 import f32


def moves(step: float, largest: float) -> bool:
    """Tell whether a ramp moves at the largest value it meets, and at its neighbour (ties go to even)."""
    bits = struct.unpack("<I", struct.pack("<f", largest))[0]
    neighbour = struct.unpack("<f", struct.pack("<I", bits - 1))[0] if bits else 0.0
    return all(f32(v + step) != v != f32(v - step) for v in (largest, neighbour))
