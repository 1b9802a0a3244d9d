"""A rehearsal is a recording: it replays to the very same walk, and the same seed gives the same one."""

from pathlib import Path

import numpy as np
import pytest
from support.commands import STORK
from support.rehearsals import Rehearser

from sequencer.api import Gait
from sequencer.base.errors import DifferenceError
from sequencer.executors.compiled import CompiledExecutor
from sequencer.executors.reference import ReferenceExecutor
from sequencer.history.blocks import Executor, HistoryBlock
from sequencer.plan.tables import Plan
from sequencer.rehearse.plant import RehearsalOptions
from sequencer.rehearse.run import Rehearsal, rehearse
from sequencer.trace.blocks import TickBlock
from sequencer.trace.read import open_trace
from sequencer.trace.record import join_blocks
from sequencer.trace.truth import truth_columns
from sequencer.trace.write import write_trace


def recorded(done: Rehearsal, path: Path) -> Path:
    write_trace(path, done.plan, done.blocks, beside=done.truth, overwrite=True)
    return path


@pytest.mark.parametrize("executor", ["reference", "compiled"])
@pytest.mark.parametrize("suffix", [".csv", ".parquet"])
def test_a_recording_replays_to_the_same_transitions(
    executor: str, suffix: str, rehearser: Rehearser, tmp_path: Path
) -> None:
    done = rehearser(12)
    assert len(done.run.transitions) > 6
    path = recorded(done, tmp_path / f"rehearsal{suffix}")
    run = Gait(done.plan).dry_run(path, executor=executor)  # type: ignore[arg-type]
    assert list(run.transitions) == list(done.run.transitions)


def test_both_executors_walk_the_body_through_the_same_ticks(rehearser: Rehearser) -> None:
    ours, theirs = join_blocks(rehearser(4).blocks), join_blocks(rehearser(4, reference=True).blocks)
    assert ours.raw.tobytes() == theirs.raw.tobytes()
    assert ours.fresh.tobytes() == theirs.fresh.tobytes()
    truths = [rehearser(4, reference=reference).truth.values for reference in (False, True)]
    assert np.array_equal(*truths, equal_nan=True)


def test_the_truth_is_in_the_file_and_is_not_listed_as_unread(rehearser: Rehearser, tmp_path: Path) -> None:
    done = rehearser(4)
    path = recorded(done, tmp_path / "rehearsal.csv")
    with open_trace(path, done.plan) as reader:
        assert reader.unused == ()
        assert reader.missing == ()
        assert np.array_equal(join_blocks(list(reader)).raw, join_blocks(done.blocks).raw)
    lines = path.read_text().splitlines()
    found = truth_columns(lines[0].split(","))
    assert set(found.clearance) == set(found.contact) == {"left_foot", "right_foot"}
    assert {"trunk", "trunk_beam", "left_thigh", "right_shank", "left_foot", "left_foot_post"} <= set(
        found.links
    )
    cells = lines[1].split(",")
    y1, z1, y2, z2 = (float(cells[at]) for at in found.links["left_foot"])
    assert (z1, z2) == (pytest.approx(0, abs=1), pytest.approx(0, abs=1))  # it stands flat at the start
    assert y1 - y2 == pytest.approx(110, abs=0.1)  # its left edge comes first
    assert cells[found.contact["left_foot"]] == "1"


def test_links_hang_together(rehearser: Rehearser) -> None:
    done = rehearser(12)
    found = truth_columns(done.truth.names)
    ends = {name: done.truth.values[:, list(at)] for name, at in found.links.items()}
    for side in ("left", "right"):
        thigh, post = ends[f"{side}_thigh"], ends[f"{side}_foot_post"]
        shank, foot = ends[f"{side}_shank"], ends[f"{side}_foot"]
        assert np.abs(shank[:, 2:] - post[:, :2]).max() < 0.3  # rounded to 0.1 mm
        assert np.abs((foot[:, :2] + foot[:, 2:]) / 2 - post[:, 2:]).max() < 0.3
        assert np.hypot(*(thigh[:, 2:] - thigh[:, :2]).T) == pytest.approx(225, abs=0.3)
        assert np.hypot(*(shank[:, :2] - thigh[:, 2:]).T).max() > 35  # the telescope, shortened


def test_the_same_seed_gives_the_same_run_and_another_one_does_not(rehearser: Rehearser) -> None:
    first, other = rehearser(4), rehearser(4, seed=1)
    again = rehearse(CompiledExecutor(first.plan), first.body, 400)
    assert join_blocks(again.blocks).raw.tobytes() == join_blocks(first.blocks).raw.tobytes()
    assert join_blocks(other.blocks).raw.tobytes() != join_blocks(first.blocks).raw.tobytes()


def test_sensors_sample_at_their_period_with_the_noise_of_the_machine_file(
    plan: Plan, rehearser: Rehearser
) -> None:
    quiet, noisy = rehearser(4, noise=False), rehearser(4)
    names = [signal.name for signal in plan.signals]
    roll, knee = names.index("body_roll"), names.index("left_knee")
    block = join_blocks(noisy.blocks)
    assert (block.fresh[:, roll] > 0).sum() == 200
    assert (block.fresh[:, knee] > 0).sum() == 400
    standing = slice(0, 100)  # before anything is pressed both stand alike
    rolls = block.fresh[standing, roll] > 0
    noise = (block.raw - join_blocks(quiet.blocks).raw)[standing, roll][rolls]
    assert noise.std() == pytest.approx(plan.signals[roll].noise, rel=0.35)  # of 50 samples


class Forgetful(ReferenceExecutor):
    """Planted: what it did after a reset is not what it did before."""

    def run(self, block: TickBlock, *, detail: bool = False) -> HistoryBlock:
        record = super().run(block, detail=detail)
        if detail:
            record.phase[-1] += 1
        return record


def test_a_recording_that_does_not_replay_is_found(plan: Plan, rehearser: Rehearser) -> None:
    executor: Executor = Forgetful(plan)
    with pytest.raises(DifferenceError, match="does not replay: tick 19"):
        rehearse(executor, rehearser(4).body, 20, RehearsalOptions())


def test_the_shipped_rehearsal_replays_and_holds_the_truth(plan: Plan) -> None:
    path = STORK.parent / "recordings" / "rehearsal.csv"
    with path.open(encoding="utf-8") as file:
        found = truth_columns(file.readline().strip().split(","))
    assert set(found.clearance) == {"left_foot", "right_foot"}
    assert found.support_margin is not None and len(found.links) == 10
    run = Gait(plan).dry_run(path, executor="both")
    assert [run.plan.sequences[0].phases[move.entered].name for move in run.transitions][:4] == [
        "standing",
        "lean_right",
        "lift_left",
        "lower_left",
    ]
