"""Design walking sequences for legged machines: check, dry-run and draw them, and generate C++.

``sequencer.load(path)`` gives a `sequencer.api.Gait`; errors are in `sequencer.base.errors`. Nothing is
imported before it is used, so that ``sequencer --version`` is quick.
"""

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from sequencer.api import Gait, load, loads
    from sequencer.base.errors import FileErrors, SequencerError

__all__ = ["FileErrors", "Gait", "SequencerError", "__version__", "load", "loads"]

_HOMES = {
    "Gait": "sequencer.api",
    "load": "sequencer.api",
    "loads": "sequencer.api",
    "FileErrors": "sequencer.base.errors",
    "SequencerError": "sequencer.base.errors",
}


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for (PEP 562)."""
    if name in _HOMES:
        import importlib

        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'sequencer' has no attribute {name!r}")
