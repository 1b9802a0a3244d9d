"""Numbers: the source itself keeps compilers from fusing, widening or reordering."""

from pathlib import Path
from random import Random

import pytest
from support.builds import build_many, insist_on_equal, write_files
from support.feature_plans import feature_plans
from support.random_drives import drives_plan
from support.random_plans import random_block, random_plan
from support.strict import STRICT

from sequencer.base.errors import ToolError
from sequencer.build import compilers
from sequencer.build.compilers import find_compiler
from sequencer.build.programs import run_program
from sequencer.executors.reference import ReferenceExecutor
from sequencer.generate.render import generate

# a product that feeds a sum: gain and bias of a sample, a rate times a parameter, gains of loops, the supply
FUSABLE = ("believe", "parameters", "loop", "cascade", "outputs")

WITH_FUSED = {
    "g++": ["g++", "-std=c++11", "-O2", "-mfma", "-ffp-contract=fast"],
    "clang++": ["clang++", "-std=c++11", "-O2", "-mfma", "-ffp-contract=fast"],
    "arm-none-eabi-g++ M4F": [
        *[flag for flag in STRICT["arm-none-eabi-g++ M4F"] if not flag.startswith("-W")],
        "-ffp-contract=fast",
    ],
}


def assembly(command: list[str], files: dict[str, str], folder: Path) -> str:
    write_files(files.items(), folder)
    text = ""
    for source in (name for name in files if name.endswith(".cpp")):
        run_program([*command, "-S", "-o", "out.s", source], folder=folder)
        text += (folder / "out.s").read_text(encoding="utf-8")
    return text


def fused(text: str) -> bool:
    return "vfma" in text or "vfnma" in text or "vmla" in text


@pytest.mark.parametrize("feature", FUSABLE)
@pytest.mark.parametrize("command", WITH_FUSED.values(), ids=WITH_FUSED)
def test_nothing_is_fused_even_if_the_flags_ask_for_it(
    command: list[str], feature: str, tmp_path: Path
) -> None:
    assert not fused(assembly(command, generate(feature_plans()[feature]), tmp_path))


@pytest.mark.parametrize("command", WITH_FUSED.values(), ids=WITH_FUSED)
@pytest.mark.parametrize("feature", ["believe", "cascade", "outputs"])
def test_without_the_stored_product_it_would_be_fused(
    command: list[str], feature: str, tmp_path: Path
) -> None:
    files = generate(feature_plans()[feature])
    plain = {
        name: text.replace("const volatile float stored", "const float stored")
        for name, text in files.items()
    }
    assert plain != files
    assert fused(assembly(command, plain, tmp_path))


@pytest.mark.parametrize("compiler", ["g++", "clang++"])
def test_random_gaits_agree_when_built_for_fused_arithmetic_without_our_flags(
    compiler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cpu = Path("/proc/cpuinfo").read_text(encoding="utf-8")
    flags = [flag for flag in compilers.LIBRARY_FLAGS if "contract" not in flag]
    # a processor without it still runs the same sources built without our flag
    monkeypatch.setattr(compilers, "LIBRARY_FLAGS", (*flags, *(["-mfma"] if " fma " in cpu else [])))
    cases = []
    for number in range(40):
        rng = Random(f"fused/{number}")
        plan, pool = (drives_plan if number % 2 else random_plan)(rng, f"g{number}")
        cases.append((plan, random_block(rng, plan, pool, 300)))
    executors = build_many([plan for plan, _ in cases], tmp_path, find_compiler(compiler), "-O2")
    for (plan, block), executor in zip(cases, executors, strict=True):
        first = ReferenceExecutor(plan).run(block, detail=True)
        insist_on_equal(plan, first, executor.run(block, detail=True), f"{plan.name} with fused arithmetic")


@pytest.mark.parametrize(
    ("flag", "message"),
    [("-ffast-math", "without -ffast-math"), ("-mfpmath=387", "not computed in a wider type")],
)
def test_flags_that_change_numbers_stop_the_build(flag: str, message: str, tmp_path: Path) -> None:
    files = generate(feature_plans()["outputs"])
    write_files(files.items(), tmp_path)
    for source in (name for name in files if name.endswith(".cpp")):
        with pytest.raises(ToolError) as caught:
            run_program(["g++", "-std=c++11", "-O2", flag, "-S", "-o", "out.s", source], folder=tmp_path)
        assert message in caught.value.output
