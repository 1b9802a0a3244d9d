"""The C interface of a built sequencer, through ctypes; the glue template holds its other half."""

import ctypes
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sequencer.base.errors import ToolError
from sequencer.history.blocks import HistoryBlock
from sequencer.trace.blocks import TickBlock

_POINTERS_OF_BLOCK = (
    "now",
    "raw",
    "fresh",
    "events",
    "switches",
    "control",
    "write_row",
    "write_parameter",
    "write_value",
)
_POINTERS_OF_RECORD = (
    "phase",
    "cause",
    "waits",
    "setpoint",
    "counter",
    "rule",
    "drives",
    "pulses",
    "loop",
    "output",
    "output_state",
    "bad",
    "disbelieved",
    "outside",
    "refused",
    "signal",
    "signal_state",
    "target",
    "truth",
    "margin",
)


class Block(ctypes.Structure):
    """Inputs of a stretch of ticks: how many ticks and writes, then the addresses of the arrays."""

    _fields_ = [
        ("ticks", ctypes.c_int64),
        ("writes", ctypes.c_int64),
        *[(name, ctypes.c_void_p) for name in _POINTERS_OF_BLOCK],
    ]


class Record(ctypes.Structure):
    """Addresses of the arrays to fill; those of the detail are null if none is wanted."""

    _fields_ = [(name, ctypes.c_void_p) for name in _POINTERS_OF_RECORD]


class Library:
    """A loaded library; `symbol` begins the names of its functions."""

    def __init__(self, path: Path, symbol: str = "gait") -> None:
        try:
            self._handle = ctypes.CDLL(str(path))
            self.size = self._function(symbol, "size", ctypes.c_uint64)
            self.begin = self._function(symbol, "begin", None, ctypes.c_void_p)
            self.reset = self._function(symbol, "reset", None, ctypes.c_void_p)
            self.parameters = self._function(symbol, "parameters", None, ctypes.c_void_p, ctypes.c_void_p)
            self.run = self._function(
                symbol, "run", None, ctypes.c_void_p, ctypes.POINTER(Block), ctypes.POINTER(Record)
            )
        except (OSError, AttributeError) as error:
            raise ToolError(f"the built sequencer {path.name} cannot be loaded: {error}") from error

    def _function(
        self, symbol: str, name: str, result: "type[ctypes.c_uint64] | None", *arguments: type
    ) -> "ctypes._NamedFuncPointer":
        function = self._handle[f"{symbol}_{name}"]
        function.restype = result
        function.argtypes = arguments
        return function


def address(array: "NDArray[np.generic]", dtype: type[np.generic], shape: tuple[int, ...]) -> int:
    """Give the address of an array's data, after making sure that it is what the C side takes it for."""
    if array.dtype != dtype or array.shape != shape or not array.flags.c_contiguous:
        raise TypeError(f"need C-contiguous {np.dtype(dtype)} {shape}, got {array.dtype} {array.shape}")
    return array.ctypes.data


def block_of(
    block: TickBlock,
    signals: int,
    write_row: NDArray[np.int64],
    write_parameter: NDArray[np.uint32],
    write_value: NDArray[np.float32],
) -> Block:
    """Lay out a block for the C side; the arrays must outlive the call."""
    n, writes = len(block), len(write_row)
    return Block(
        n,
        writes,
        address(block.now, np.uint32, (n,)),
        address(block.raw, np.float32, (n, signals)),
        address(block.fresh, np.uint8, (n, signals)),
        address(block.events, np.uint32, (n,)),
        address(block.switches, np.uint32, (n,)),
        address(block.control, np.uint8, (n,)),
        address(write_row, np.int64, (writes,)),
        address(write_parameter, np.uint32, (writes,)),
        address(write_value, np.float32, (writes,)),
    )


def record_of(block: HistoryBlock, refused: NDArray[np.uint32]) -> Record:
    """Lay out a record for the C side, which fills it in place."""
    more = block.detail
    arrays: list[NDArray[Any]] = [
        block.phase,
        block.cause,
        block.waits,
        block.setpoint,
        block.counter,
        block.rule,
        block.drives,
        block.pulses,
        block.loop,
        block.output,
        block.output_state,
        block.bad,
        block.disbelieved,
        block.outside,
        refused,
    ]
    if more is not None:
        arrays += [more.signal, more.signal_state, more.target, more.truth, more.margin]
    return Record(*[array.ctypes.data for array in arrays])
