"""On the emulated board a motor turns only while somebody holds on, and stops within a tick of letting go."""

from pathlib import Path

import pytest
from support.bringup_rig import Events, Rig, build_rig

TICK_MS, SILENT_MS, OFTEN_MS = 10.0, 300.0, 50.0
A_MOMENT = 0.3  # for the work of a tick, and the emulated joint's own steps
JOG = "type jog neck_motor + 0.3\nwait 100\n"
SCRIPT = f"""\
plant 1 10 0.08 0.05 -28 29 1 0.1 -20
until codes
{JOG}type hoisted
wait 100
type jog neck_motor + 0.5
wait 100
{JOG}hold on
wait 1200
hold off
wait 500
{JOG}button on
wait 1500
button off
wait 100
{JOG}button on
wait 1500
stop open
wait 100
stop closed
button off
wait 200
{JOG}button on
wait 1500
type off
wait 100
button off
wait 100
{JOG}button on
wait 1500
wire broken
wait 100
wire whole
button off
wait 100
type measure neck_motor
wait 100
button on
until way does it turn
wait 2000
button off
wait 200
jam on
type measure neck_motor
button on
until done
button off
type patch
until end ----
end
"""


@pytest.fixture(scope="module")
def events(rig: Rig, tmp_path_factory: pytest.TempPathFactory) -> Events:
    return rig.run(tmp_path_factory.mktemp("letting_go"), SCRIPT)


def test_nothing_turns_before_the_machine_is_said_to_hang_free(events: Events) -> None:
    assert any("hoist the machine first" in line for line in events.told())
    assert events.most(0.0, events.when_done("hold on")) == 0.0


def test_a_duty_above_what_is_allowed_is_refused(events: Events) -> None:
    assert any(line.startswith("# such as: jog neck_motor + 0.1") for line in events.told())


def test_it_starts_only_after_half_a_second_of_holding_on(events: Events) -> None:
    held = events.when_done("hold on")
    assert events.most(held, held + 499) == 0.0
    assert events.duty_at(events.when_done("hold off")) == pytest.approx(0.3, abs=0.005)


def test_a_key_let_go_stops_the_motor_within_a_tick_of_its_time(events: Events) -> None:
    let_go = events.when_done("hold off")
    off = events.off_after(let_go)
    # the last line came up to 50 ms before, and a character takes its time on the line
    assert let_go + SILENT_MS - OFTEN_MS < off <= let_go + SILENT_MS + TICK_MS + A_MOMENT
    assert events.when_told("# let go: motors off", let_go) > off


def test_a_button_let_go_stops_the_motor_within_a_tick(events: Events) -> None:
    let_go = events.when_done("button off")
    assert events.duty_at(let_go) == pytest.approx(0.3, abs=0.005)
    assert let_go < events.off_after(let_go) <= let_go + TICK_MS + A_MOMENT


def test_the_stop_contact_stops_the_motor_at_once(events: Events) -> None:
    opened = events.when_done("stop open")
    assert events.duty_at(opened) == pytest.approx(0.3, abs=0.005)
    assert opened < events.off_after(opened) <= opened + 1.0
    assert events.when_told("# the stop contact opened", opened)


def test_any_other_line_stops_the_motor(events: Events) -> None:
    typed = events.when_done("type off")
    assert events.duty_at(typed) == pytest.approx(0.3, abs=0.005)
    assert typed < events.off_after(typed) <= typed + TICK_MS


def test_a_broken_wire_stops_the_motor_within_a_tick(events: Events) -> None:
    broken = events.when_done("wire broken")
    assert events.duty_at(broken) == pytest.approx(0.3, abs=0.005)
    assert broken < events.off_after(broken) <= broken + TICK_MS + A_MOMENT
    assert events.when_told("# the signal is not to be believed", broken)


def test_a_measurement_let_go_stops_within_a_tick_and_finds_nothing(events: Events) -> None:
    let_go = events.when_done("button off", 5 - 1)
    assert events.duty_at(let_go) > 0.05
    assert let_go < events.off_after(let_go) <= let_go + TICK_MS + A_MOMENT


def test_a_jammed_joint_is_given_up_in_time_and_not_written_down(events: Events) -> None:
    began = events.when_told("# at rest", events.when_done("jam on"))
    given_up = events.when_told("NOT MEASURED: nothing moves", began)
    assert given_up - began < 15_000
    assert events.most(began, given_up) <= 0.35 + 0.5 / 255
    assert events.duty_at(given_up) == 0.0
    patch = events.log().rpartition("# ---- for")[2]
    assert "inverted" not in patch
    assert "span" not in patch


# The same with a fault planted in the program: what finds no fault must be able to find one.
FAULTS = {
    "a longer silence": {"silent_hand_ms = 300U": "silent_hand_ms = 400U"},
    "the hand is forgotten": {"hand_is_needed() && !is_held()": "hand_is_needed() && false"},
    "a duty without a bound": {"duty <= most_duty);": "duty <= 1.0F);", "!(x <= most_duty)": "!(x <= 1.0F)"},
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_planted_in_the_program_is_found(fault: str, tmp_path: Path) -> None:
    jog = "type jog neck_motor + 0.5\nwait 100\n"
    script = f"until codes\ntype hoisted\nwait 100\n{jog}{JOG}hold on\nwait 1500\nhold off\nwait 600\nend\n"
    found = build_rig(tmp_path, plant=FAULTS[fault]).run(tmp_path, script)
    let_go = found.when_done("hold off")
    in_time = found.off_after(let_go) <= let_go + SILENT_MS + TICK_MS + A_MOMENT
    refused = any(line.startswith("# such as: jog") for line in found.told())
    assert not (in_time and refused)
