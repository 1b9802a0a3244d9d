"""What loops and outputs read: units in binary32, whatever the sequencer counts in."""

from collections.abc import Sequence
from typing import Protocol


class Measured(Protocol):
    """A signal."""

    @property
    def value(self) -> float:
        """Give the last value."""
        ...

    @property
    def known(self) -> float | None:
        """Give the value, or None while the signal is unseen or lost."""
        ...

    @property
    def fresh(self) -> bool:
        """Tell whether a sample came in this tick."""
        ...

    @property
    def lost(self) -> bool:
        """Tell whether it is lost."""
        ...


class Commanded(Protocol):
    """A setpoint."""

    @property
    def value(self) -> float:
        """Give the ramped value."""
        ...


class Measures(Protocol):
    """What a tick knows besides setpoints."""

    @property
    def now(self) -> int:
        """Give the tick's time in milliseconds."""
        ...

    @property
    def phases(self) -> Sequence[int]:
        """Give the active phase of each sequence."""
        ...

    @property
    def signals(self) -> Sequence[Measured]:
        """Give the signals."""
        ...
