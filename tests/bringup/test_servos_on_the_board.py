"""A servo that goes where a setpoint is, on the emulated board: which way, how far, and how far off."""

import re
from itertools import pairwise
from pathlib import Path

import pytest
from support.bringup_rig import Events, Rig

from sequencer.generate.bringup_patch import merged_machine, patch_of
from sequencer.plan.build import machine_plan

OFF_DEG = 3.0
MIDDLE_US, QUARTER_US = 1500.0, 200.0  # 0.2 of all that it can be told, either way
SCRIPT = f"""\
servo -1 {OFF_DEG}
until codes
type measure tail
wait 100
type hoisted
wait 100
type measure tail
wait 100
button on
wait 3000
button off
wait 300
type measure tail
wait 100
button on
until done
button off
type patch
until end ----
end
"""


@pytest.fixture(scope="module")
def events(rig: Rig, tmp_path_factory: pytest.TempPathFactory) -> Events:
    return rig.run(tmp_path_factory.mktemp("servo"), SCRIPT)


def test_there_are_no_pulses_before_somebody_holds_on(events: Events) -> None:
    assert any("hoist the machine first" in line for line in events.told())
    assert events.pulses(0.0, events.when_done("button on") + 499) == []


def test_letting_go_stops_the_pulses(events: Events) -> None:
    let_go = events.when_done("button off")
    assert events.pulses(0.0, let_go)[-1][1] > 1000
    # a pulse that has begun is cut short; the emulated servo notices 100 ms later that no more come
    assert events.pulses(let_go, let_go + 150)[-1][1] == 0
    assert let_go < events.when_told("# let go: motors off") <= let_go + 20


def test_it_swings_slowly_within_a_fifth_to_each_side(events: Events) -> None:
    begin, end = events.when_done("button on", 1), events.when_told("# tail: goes")
    widths = [width for _, width in events.pulses(begin, end - 50) if width]  # the last one is cut short
    assert widths[0] == pytest.approx(MIDDLE_US, abs=8)
    assert max(widths) == pytest.approx(MIDDLE_US + QUARTER_US, abs=8)
    assert min(widths) == pytest.approx(MIDDLE_US - QUARTER_US, abs=8)
    assert max(abs(a - b) for a, b in pairwise(widths)) < 10


def test_a_servo_that_goes_the_other_way_is_found_and_turned_round(
    rig: Rig, events: Events, tmp_path: Path
) -> None:
    (said,) = {line for line in events.told() if line.startswith("# tail: goes")}
    found = re.fullmatch(
        r"# tail: goes the WRONG WAY, (\S+) of what it is told; in its middle tail_pot is (\S+) deg off", said
    )
    assert found is not None, said
    assert float(found[1]) == pytest.approx(1.0, abs=0.03)
    assert float(found[2]) == pytest.approx(OFF_DEG, abs=0.3)
    merged = tmp_path / "merged.machine.yaml"
    merged.write_text(merged_machine(rig.machine, patch_of(events.log())))
    wiring = machine_plan(merged).wiring
    assert wiring is not None
    assert wiring.servos[0].over == (40.0, -40.0)
