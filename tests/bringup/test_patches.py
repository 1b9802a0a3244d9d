"""A printed patch is cut out of a log and laid over a machine file's text."""

from pathlib import Path

import pytest
from support.bringup_rig import RIG
from support.commands import REPOSITORY

from sequencer.base.errors import FileErrors, MisuseError
from sequencer.generate.bringup_patch import merged_machine, patch_of
from sequencer.plan.build import machine_plan

PATCH = """\
# ---- for rig.machine.yaml: put these into their places; nothing is changed by itself ----
signals:
  neck_pot: {noise: 0.1 deg, span: [-28, 29]}
setpoints:
wiring:
  outputs:
    neck_motor: {inverted: true}
# ---- end ----
"""


@pytest.fixture
def machine(tmp_path: Path) -> Path:
    path = tmp_path / "rig.machine.yaml"
    path.write_text(RIG)
    return path


def test_the_last_whole_patch_of_a_log_is_taken() -> None:
    log = "# hello\r\n" + PATCH.replace("true", "false") + "# torn\n" + PATCH.replace("\n", "\r\n")
    assert patch_of(log + "# ---- for rig: torn off\nsignals:\n") == PATCH


@pytest.mark.parametrize("log", ["", "# ---- end ----\n", PATCH.replace("# ---- end ----", ""), "x"])
def test_a_log_without_a_whole_patch_is_refused(log: str) -> None:
    with pytest.raises(MisuseError, match="no whole patch"):
        patch_of(log)


def test_a_patch_is_merged_and_the_rest_stays_as_it_was(machine: Path, tmp_path: Path) -> None:
    before = machine_plan(machine)
    merged = tmp_path / "merged.machine.yaml"
    merged.write_text(merged_machine(machine, PATCH))
    after = machine_plan(merged)
    assert machine.read_text() == RIG
    assert (after.signals[0].low, after.signals[0].high) == (-28, 29)
    assert after.signals[0].gain == before.signals[0].gain
    assert [s.rate for s in after.setpoints] == [s.rate for s in before.setpoints]
    assert after.wiring is not None
    assert after.wiring.motors[0].inverted
    assert after.wiring.motors[0].pin.number == 5


@pytest.mark.parametrize("name", ["stork", "crab", "tortoise"])
def test_an_empty_patch_leaves_a_machine_as_it_is_also_with_short_forms(name: str, tmp_path: Path) -> None:
    path = REPOSITORY / f"examples/{name}/{name}.machine.yaml"
    merged = tmp_path / "merged.machine.yaml"
    merged.write_text(merged_machine(path, "signals:\nwiring:\n  outputs:\n"))
    assert machine_plan(merged).sha == machine_plan(path).sha


def test_quoted_texts_stay_texts(tmp_path: Path) -> None:
    path, merged = tmp_path / "a.machine.yaml", tmp_path / "b.machine.yaml"
    path.write_text(RIG.replace("about: the neck of a garden tortoise", "about: \"it's: 'odd' # \\\\ \" #"))
    merged.write_text(merged_machine(path, PATCH))
    assert machine_plan(merged).about == machine_plan(path).about


@pytest.mark.parametrize("patch", ["signals: [", "\tx", "a: 1\na: 2\n"])
def test_a_patch_that_is_no_yaml_is_refused(machine: Path, patch: str) -> None:
    with pytest.raises(FileErrors):
        merged_machine(machine, patch)
