"""The WebAssembly layout engine in a process of its own: what it keeps, where, and that it says nothing."""

import stat
from pathlib import Path

import pytest
from support.commands import REPOSITORY, run
from support.diagrams import empty_path, stork

from sequencer.show.diagram import DiagramOptions, diagram_bytes

GAIT = REPOSITORY / "examples" / "stork" / "stork.gait.yaml"


def _draw(cache: Path, tmp_path: Path) -> bytes:
    done = run(
        "draw", GAIT, "-o", tmp_path / "stork.svg",
        environment={"PATH": empty_path(tmp_path / "nothing"), "XDG_CACHE_HOME": str(cache)},
    )  # fmt: skip
    assert (done.returncode, done.stderr.replace(f"drawn: {tmp_path / 'stork.svg'}\n", "")) == (0, "")
    return (tmp_path / "stork.svg").read_bytes()


def test_native_code_is_kept_in_a_folder_of_our_own_and_used_again(tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    first = _draw(cache, tmp_path)
    folder = cache / "gait-sequencer"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    kept = [p for p in folder.rglob("*") if p.is_file() and p.stat().st_size > 100_000]
    assert len(kept) == 1
    written = kept[0].stat().st_mtime_ns
    assert _draw(cache, tmp_path) == first == diagram_bytes(stork(), "svg", DiagramOptions(engine="wasm"))
    assert kept[0].stat().st_mtime_ns == written


@pytest.mark.parametrize("mode", [0o770, 0o777])
def test_a_folder_that_others_may_write_in_is_not_used(tmp_path: Path, mode: int) -> None:
    folder = tmp_path / "cache" / "gait-sequencer"
    folder.mkdir(parents=True)
    folder.chmod(mode)
    assert _draw(tmp_path / "cache", tmp_path).startswith(b"<?xml")
    assert list(folder.iterdir()) == []


def test_a_cache_that_cannot_be_made_does_not_stop_the_drawing(tmp_path: Path) -> None:
    in_the_way = tmp_path / "cache"
    in_the_way.write_text("a file", encoding="utf-8")
    assert _draw(in_the_way, tmp_path).startswith(b"<?xml")
