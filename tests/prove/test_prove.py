"""The whole proof: the stork on everything, what does not fit, what is missing, and what the command says."""

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from support.commands import REPOSITORY, STORK, call, run
from support.feature_plans import feature_plans
from support.plans import Phase, above, all_of, make_plan, signal
from support.prove import EVERY, plant

from sequencer.base.errors import ToolError
from sequencer.build import emulators
from sequencer.build.cross import CORTEX_M4F, avr, missing_package
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.compare import first_difference
from sequencer.plan.build import load_plan
from sequencer.plan.tables import Plan
from sequencer.prove.controllers import CONTROLLERS, controller
from sequencer.prove.images import build_image, replay
from sequencer.prove.inputs import followed, random_traces, recorded
from sequencer.prove.report import Proof
from sequencer.prove.run import prove
from sequencer.prove.wire import Form, as_record

RECORDINGS = REPOSITORY / "examples" / "stork" / "recordings"


@pytest.fixture(scope="module")
def proof() -> Proof:
    plan = load_plan(STORK)
    traces = [recorded(str(path), plan) for path in sorted(RECORDINGS.glob("*.csv"))]
    return prove(plan, [*traces, followed(plan, 1000), *random_traces(plan, 4, 1000)])


def test_the_stork_is_equal_on_every_controller(proof: Proof) -> None:
    assert [(row.controller, row.outcome, row.differing) for row in proof.rows] == [
        (name, "equal", 0) for name in EVERY
    ]
    assert all(row.ticks == 2 * (2 * 3000 + 1500 + 5 * 1000) for row in proof.rows)
    plan = load_plan(STORK)
    sent = {field.name for field in Form(plan, watched=False, leaves=range(0)).fields}
    assert plan.loops and plan.outputs and {"loop", "output", "output_state"} <= sent
    assert (proof.found, proof.complete, proof.empty) == (False, True, False)


def test_what_it_takes_is_told_for_each_controller(proof: Proof) -> None:
    for row in proof.rows[1:]:
        sizes, cost = row.footprint, row.cost
        assert sizes is not None and cost is not None
        assert 4000 < sizes.flash < 24_000, row.controller
        assert 300 < sizes.state < 600, "a Machine: State, loops and outputs"
        assert sizes.state < sizes.ram < sizes.state + 100, "Inputs lie there, too"
        assert 10 < sizes.stack < 400
        assert 0 < cost.median <= cost.worst
        assert cost.share == pytest.approx(cost.worst / (cost.clock_hz * 0.010))
    share = {row.controller: row.cost.share for row in proof.rows[1:] if row.cost}
    assert share["atmega328p"] > share["cortex-m3"] > share["cortex-m4f"]
    assert proof.rows[0].footprint is None and proof.rows[0].cost is None


def many_phases(count: int, signals: int, exits: int = 1) -> Plan:
    names = [f"p{i}" for i in range(count)]
    near = [above(f"x{i % signals}", i / 8) for i in range(count)]
    phases = [
        Phase(
            name,
            [(names[(i + k) % count], all_of(near[i], near[-(i + k) % count])) for k in range(1, exits + 1)],
        )
        for i, name in enumerate(names)
    ]
    return make_plan({"walk": phases}, signals=[signal(f"x{i}") for i in range(signals)])


def test_more_leaves_than_a_small_memory_holds_are_watched_in_parts() -> None:
    plan = many_phases(60, signals=60)  # 120 leaves of 5 bytes, beside a State and Inputs of 300 each
    (trace,) = random_traces(plan, 1, 1000)
    row = prove(plan, [trace], [controller("atmega328p")]).rows[0]
    assert (row.outcome, row.differing, row.reason) == ("equal", 0, "")
    assert row.ticks >= 3 * 1000, "once as generated, and in two parts or more"


@pytest.mark.parametrize(("leaves", "found"), [(range(4), False), (range(4, 8), True), (range(8, 40), False)])
def test_a_part_of_the_leaves_is_held_against_its_own_part(
    leaves: range, found: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = many_phases(20, signals=4)
    (trace,) = random_traces(plan, 1, 1000)
    record = ReferenceExecutor(plan).run(trace.block, detail=True)
    margin, planted = (f"_WATCH_MARGIN(s, {n}, is_known" for n in ("index", "(index == 5U) ? 500U : index"))
    plant(monkeypatch, lambda text: text.replace(margin, planted))
    image = build_image(controller("atmega328p"), [Form(plan, watched=True, leaves=leaves)], tmp_path)
    (reply,) = replay(image, [(0, [trace.block])])
    difference = first_difference(plan, record, as_record(reply, record))
    assert (difference is not None) == found
    assert not found or (difference is not None and difference.field.startswith("truth of leaf 5"))


def test_what_has_no_room_is_too_large_and_not_equal() -> None:
    plan = many_phases(250, signals=2, exits=3)
    rows = prove(plan, [followed(plan, 10)], [controller("atmega328p"), controller("atmega2560")]).rows
    assert rows[0].outcome == "too large"
    assert "no room" in rows[0].reason or "of 32768 bytes of flash" in rows[0].reason
    assert rows[1].outcome == "equal"
    middle = many_phases(250, signals=2)
    row = prove(middle, [followed(middle, 10)], [controller("atmega328p")]).rows[0]
    assert (row.outcome, row.ticks) == ("equal", 10)
    assert row.reason.startswith("only as generated, for it has no room to be watched")
    wide = many_phases(2, signals=200)
    row = prove(wide, [followed(wide, 10)], [controller("atmega328p")]).rows[0]
    assert row.outcome == "too large"
    assert "of 2048 bytes of memory" in row.reason


# -- tools that are missing --------------------------------------------------------------------------------


@pytest.fixture
def bare(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A PATH with nothing on it but what a test puts there."""
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder))
    monkeypatch.delenv("CC", raising=False)
    monkeypatch.delenv("CXX", raising=False)
    return folder


def give(folder: Path, *names: str) -> None:
    for name in names:
        found = shutil.which(name, path="/usr/bin:/bin:/usr/local/bin")
        assert found, name
        (folder / name).symlink_to(found)


def test_missing_tools_are_named_by_their_packages(bare: Path) -> None:
    for target in CONTROLLERS:
        assert target.missing(), target.name
    assert "gcc-avr" in controller("atmega328p").missing()
    assert "libsimavr-dev" in controller("atmega328p").missing()
    assert controller("cortex-m3").missing().endswith("qemu-system-arm")
    give(bare, "avr-g++", "avr-size", "arm-none-eabi-g++", "arm-none-eabi-size")
    assert missing_package(avr("atmega328p")) == missing_package(CORTEX_M4F) == ""
    assert controller("atmega328p").missing() == emulators.missing_for_avr() == "gcc libsimavr-dev libelf-dev"
    assert controller("cortex-m4f").missing() == "qemu-system-arm"


def test_a_missing_c_library_of_the_8_bit_family_is_seen() -> None:
    assert missing_package(avr("atmega328p")) == ""
    bare = replace(avr("atmega328p"), start="crt-of-no-controller.o")
    assert missing_package(bare) == "gcc-avr avr-libc binutils-avr"


def test_a_missing_header_names_its_package(bare: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    give(bare, "gcc", "as", "ld")
    assert emulators.missing_for_avr() == ""
    monkeypatch.setattr(
        emulators, "_HEADERS", (("simavr/none.h", "libsimavr-dev"), ("libelf.h", "libelf-dev"))
    )
    assert emulators.missing_for_avr() == "libsimavr-dev"


def test_nothing_to_run_on_is_exit_code_2_and_never_equal(tmp_path: Path) -> None:
    empty = {"PATH": str(tmp_path), "CC": "", "CXX": "", "PYTHONPATH": os.environ.get("PYTHONPATH", "")}
    done = run("prove", STORK, "--random", "1", "--ticks", "50", environment=empty)
    assert done.returncode == 2, done.stderr
    assert done.stdout.count("not run") >= 5
    assert "equal" not in done.stdout.split("\n\n")[0]
    assert "install qemu-system-arm" in done.stdout or "qemu-system-arm" in done.stdout
    assert "gcc-avr" in done.stdout


def test_a_missing_tool_is_told_but_no_fault_unless_required(bare: Path) -> None:
    give(bare, "g++", "gcc", "as", "ld")
    arguments = ("prove", STORK, "--random", "0", "--ticks", "50", "--on", "host", "--on", "cortex-m3")
    done = call(*arguments)
    assert (done.returncode, "not run" in done.stdout) == (0, True)
    assert "stork_stepping: 1 of 2 equal to the bit, 1 not run" in done.stdout
    assert call(*arguments, "--require").returncode == 2


# -- the command -------------------------------------------------------------------------------------------


def test_the_command_tells_a_difference_with_both_states(monkeypatch: pytest.MonkeyPatch) -> None:
    plant(monkeypatch, lambda text: text.replace("0.16F", "0.16000001F"))
    done = call(
        "prove", STORK, RECORDINGS / "walk.csv", "--on", "atmega328p", "--random", "0", "--ticks", "50"
    )
    assert done.returncode == 1
    assert "setpoint of lean is" in done.stdout
    assert "reference, this tick:" in done.stdout and "controller, this tick:" in done.stdout
    assert "stork_stepping: 1 differs" in done.stdout


def test_the_command_gives_one_json_document() -> None:
    done = call("prove", STORK, "--json", "--on", "atmega2560", "--random", "1", "--ticks", "100")
    assert done.returncode == 0
    told = json.loads(done.stdout)
    assert (told["document"], told["version"], told["equal"], told["complete"]) == ("proof", 1, True, True)
    assert told["traces"] == [{"name": "followed", "ticks": 100}, {"name": "random 0", "ticks": 100}]
    (row,) = told["rows"]
    assert (row["controller"], row["outcome"], row["ticks"], row["differing"]) == (
        "atmega2560",
        "equal",
        400,
        0,
    )
    assert set(row["footprint"]) == {"flash", "ram", "state", "stack"}
    assert row["cost"]["unit"] == "cycles" and row["cost"]["clock_hz"] == 16_000_000


def test_the_command_says_for_what_its_figures_stand() -> None:
    done = call("prove", STORK, "--on", "cortex-m3", "--on", "atmega328p", "--random", "0", "--ticks", "100")
    assert done.returncode == 0
    assert "ATmega328P at 16 MHz" in done.stdout
    assert "at 72 MHz and one cycle an instruction (real ones take more)" in done.stdout
    assert "of a tick of 10 ms" in done.stdout
    assert done.stdout.rstrip().endswith("stork_stepping: 2 of 2 equal to the bit")
    assert call("prove", STORK, "--on", "host", "--ticks", "50", "-q").stdout.startswith(
        "stork_stepping: 1 of 1"
    )


def test_a_controller_that_is_not_known_gets_the_nearest() -> None:
    done = call("prove", STORK, "--on", "atmega328")
    assert done.returncode == 2
    assert "atmega328p" in done.stderr


def test_an_emulator_that_fails_is_an_error_with_its_words(tmp_path: Path) -> None:
    junk = tmp_path / "program.elf"
    junk.write_bytes(b"junk")
    (tmp_path / "in.bin").write_bytes(b"\0")
    for name in ("atmega328p", "cortex-m3"):
        with pytest.raises(ToolError):
            controller(name).run(junk, 60)


def test_every_feature_is_equal_on_every_controller() -> None:
    for plan in feature_plans().values():
        traces = list(random_traces(plan, 2, 400))
        rows = prove(plan, traces, [controller("atmega328p"), controller("cortex-m4f")]).rows
        assert [row.outcome for row in rows] == ["equal", "equal"], plan.name
