"""Faults planted into numbers that are trimmed and into help by hand: random gaits must find them."""

from pathlib import Path

import pytest
from support.planted import differs, one_ulp_up, plant
from support.random_drives import drives_plan

from sequencer.generate.loops import DrivesWriter

STEP = "(in.helping & (in_single_steps | single_step)) == in_single_steps"

IN_WALKS = [
    ("a zero that is added", "_samples.j2", ") - s.parameter[", ") + s.parameter["),
    ("a zero off by one unit in the last place", "_samples.j2", ") - s.parameter[{{ scale.zero }}]",
     ") - (s.parameter[{{ scale.zero }}] * 1.0000001F)"),
    ("a step that nobody takes", "_sequences.j2", STEP, "(in.helping & in_single_steps) == in_single_steps"),
    ("a step that is taken without asking", "_sequences.j2", STEP, "(in.helping & 8U) == in_single_steps"),
    ("an event that waits for a step", "_sequences.j2", "        asked = true;\n", ""),
    ("a timeout looked at while a guard waits", "_sequences.j2",
     "    limit = 0U;  // a guard wins", "    // "),
    ("a timeout that acts in single steps", "_sequences.j2", "(helped_by_hand | in_single_steps)) != 0U",
     "helped_by_hand) != 0U"),
    ("a timeout that acts while somebody helps", "_sequences.j2", "(helped_by_hand | in_single_steps)) != 0U",
     "in_single_steps) != 0U"),
    ("a phase that begins anew while it waits", "_sequences.j2", "] = waits_for_it;",
     "] = waits_for_it; s.{{ sequence.since }} = in.now;"),
    ("a wait that is never over", "_tick.j2", "  s.waits[{{ sequence.index }}] = 0U;\n", ""),
]  # fmt: skip

IN_DRIVES = [
    ("an integral that outlives its ki", "_loops.j2", "if (!sums) {", "if (false) {"),
    ("an integral used although ki is nothing", "_loops.j2", "if (sums) {", "if (true) {"),
    ("a negative ki taken for nothing", "_loops.j2", "(bi < 0.0F) || (bi > 0.0F)", "bi > 0.0F"),
    ("a cap with one side", "_outputs.j2", "limited(x, -{{ output.cap }}, ", "limited(x, {{ output.low }}, "),
    ("a cap off by one unit in the last place", "_outputs.j2", "-{{ output.cap }}, {{ output.cap }}",
     "-{{ output.cap }}, {{ output.cap }} * 1.0000001F"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "old", "new"), [f[1:] for f in IN_WALKS], ids=[f[0] for f in IN_WALKS])
def test_a_fault_in_a_walk_is_found(name: str, old: str, new: str, templates: Path, tmp_path: Path) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path)


@pytest.mark.parametrize(("name", "old", "new"), [f[1:] for f in IN_DRIVES], ids=[f[0] for f in IN_DRIVES])
def test_a_fault_in_loops_or_outputs_is_found(
    name: str, old: str, new: str, templates: Path, tmp_path: Path
) -> None:
    plant(templates / "portable", name, old, new)
    assert differs(tmp_path, drives_plan)


@pytest.mark.parametrize("column", ["kp_times", "bi_times", "bd_times"])
def test_a_gain_that_a_parameter_gives_off_by_one_unit_in_the_last_place_is_found(
    column: str, templates: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gain = DrivesWriter._gain

    def off(self: DrivesWriter, folded: float, times: int | None) -> str:
        text = gain(self, folded, times)
        named = [getattr(loop, column) for loop in self._plan.loops]
        return one_ulp_up(text) if times is not None and times in named else text

    monkeypatch.setattr(DrivesWriter, "_gain", off)
    assert differs(tmp_path, drives_plan)


def test_a_limit_that_a_parameter_gives_off_by_one_unit_in_the_last_place_is_found(
    templates: Path, tmp_path: Path
) -> None:
    plant(
        templates / "portable",
        "_loops.j2",
        "is_settled(m, {{ loop_.name }}, v, u, {{ loop_.low }}, {{ loop_.high }})) {",
        "is_settled(m, {{ loop_.name }}, v, u, {{ loop_.low }},"
        ' {{ loop_.high }}{{ " * 1.0000001F" if loop_.high.startswith("m.") }})) {',
    )
    # a loop with neither integral nor derivative has a line of its own, which is left as it is
    assert differs(tmp_path, drives_plan)
