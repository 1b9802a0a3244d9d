"""The generated C++ itself, built for this machine and called over arrays.

Where to look: `executor.py` how blocks go in and records come out, `library.py` the C interface, `cache.py`
where built libraries are kept.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sequencer.executors.compiled.executor import CompiledExecutor as CompiledExecutor
    from sequencer.executors.compiled.executor import compiler_available as compiler_available

__all__ = ["CompiledExecutor", "compiler_available"]


def __getattr__(name: str) -> Any:
    if name in __all__:  # late, because the template engine is slow to import
        from sequencer.executors.compiled import executor

        return getattr(executor, name)
    raise AttributeError(name)
