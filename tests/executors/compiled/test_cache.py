"""Built libraries: kept by what went into them, in a folder that nobody else can write to."""

import os
from dataclasses import replace
from pathlib import Path

import pytest
from support.feature_plans import feature_plans

from sequencer.base.errors import MisuseError, ToolError
from sequencer.build import cache
from sequencer.build.compilers import find_compiler
from sequencer.build.programs import run_program
from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.compiled.executor import build_plan
from sequencer.executors.compiled.library import Library

PLAN = feature_plans()["holds"]


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "caches"))
    cache._temporary.cache_clear()
    return tmp_path / "caches" / "gait-sequencer"


def test_the_folder_is_private_and_holds_nothing_but_the_library(own_cache: Path) -> None:
    CompiledExecutor(PLAN)
    assert own_cache.stat().st_mode & 0o777 == 0o700
    (library,) = own_cache.iterdir()
    assert library.suffix == ".so"
    assert library.stat().st_mode & 0o077 == 0


def test_the_same_gait_is_built_once(own_cache: Path) -> None:
    first = build_plan(PLAN, find_compiler())
    before = first.stat().st_mtime_ns
    assert build_plan(PLAN, find_compiler()) == first
    assert first.stat().st_mtime_ns == before


def test_another_gait_compiler_version_or_flag_is_built_anew(own_cache: Path) -> None:
    compiler = find_compiler("g++")
    paths = {
        build_plan(PLAN, compiler),
        build_plan(replace(PLAN, name="other"), compiler),
        build_plan(PLAN, replace(compiler, version="g++ 99")),
        build_plan(PLAN, replace(compiler, flags=("-g",))),
        build_plan(PLAN, find_compiler("clang++")),
    }
    assert len(paths) == 5


def test_a_changed_template_is_built_anew(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from sequencer.executors.compiled import executor

    first = build_plan(PLAN, find_compiler())
    made = executor.host_files

    def changed(plan: object) -> tuple[dict[str, str], str]:
        files, source = made(plan)  # type: ignore[arg-type]
        return {name: f"{text}\n" for name, text in files.items()}, source

    monkeypatch.setattr(executor, "host_files", changed)
    assert build_plan(PLAN, find_compiler()) != first


def test_a_folder_that_others_may_write_to_is_refused(own_cache: Path) -> None:
    own_cache.mkdir(parents=True, mode=0o700)
    own_cache.chmod(0o770)
    with pytest.raises(MisuseError, match="others may write") as caught:
        CompiledExecutor(PLAN)
    assert "XDG_CACHE_HOME" in caught.value.hint


def test_a_link_in_the_folder_s_place_is_refused(own_cache: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir(mode=0o700)
    own_cache.parent.mkdir()
    own_cache.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(MisuseError, match="is a link"):
        CompiledExecutor(PLAN)


def test_a_folder_of_somebody_else_is_refused(own_cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_cache.mkdir(parents=True, mode=0o700)
    monkeypatch.setattr(os, "getuid", lambda: 12345)
    with pytest.raises(MisuseError, match="belongs to somebody else"):
        CompiledExecutor(PLAN)


def test_a_library_that_others_may_write_to_is_not_loaded(own_cache: Path) -> None:
    build_plan(PLAN, find_compiler()).chmod(0o777)
    with pytest.raises(MisuseError, match="others may write"):
        CompiledExecutor(PLAN)


def test_a_file_in_the_folder_s_place_is_one_clear_error(own_cache: Path) -> None:
    own_cache.parent.mkdir()
    own_cache.write_text("")
    with pytest.raises(MisuseError, match="should be a folder"):
        CompiledExecutor(PLAN)


def test_a_place_that_cannot_be_written_to_is_replaced_by_a_temporary_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", "/proc/no-such-place")  # even root cannot write there
    library = build_plan(PLAN, find_compiler())
    assert library.exists()
    assert library.parent.stat().st_mode & 0o777 == 0o700
    assert "gait-sequencer-" in str(library)


def test_a_failed_build_leaves_nothing_behind(own_cache: Path) -> None:
    broken = replace(find_compiler("g++"), flags=("-include", "no_such_file.h"))
    with pytest.raises(ToolError) as caught:
        build_plan(PLAN, broken)
    assert "no_such_file.h" in caught.value.output
    assert list(own_cache.iterdir()) == []


def test_a_damaged_library_is_one_clear_error(own_cache: Path) -> None:
    build_plan(PLAN, find_compiler()).write_bytes(b"not a library")
    with pytest.raises(ToolError, match="cannot be loaded"):
        CompiledExecutor(PLAN)


def test_a_library_without_our_functions_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "empty.c").write_text("int nothing;\n")
    run_program(["gcc", "-shared", "-o", "empty.so", "empty.c"], folder=tmp_path)
    with pytest.raises(ToolError, match="cannot be loaded"):
        Library(tmp_path / "empty.so")
