"""A signal that only a loop or an output looks at is used."""

from support.gaits import SECTIONS, plan_of

from sequencer.check.run import check

SIGNALS = (
    SECTIONS["signals"] + "    battery: {unit: V, span: [9, 12.6]}\n    pot: {unit: deg, span: [-9, 9]}\n"
)
MOTOR = "    horn: {pulse: true}\n    motor: {full_scale_at: 12 V, supply: battery}\n"
STALL = MOTOR.replace("battery}", "battery, stall: {above: 0.5, signal: pot, moves: 1 deg, for: 1 s}}")
LOOP = "  loops:\n    l: {setpoint: [0 deg], signal: pot, kp: 1, output: motor}\n"


def unused(outputs: str) -> set[str]:
    findings = check(plan_of(signals=SIGNALS, outputs=outputs))
    return {f.message.rpartition(" ")[2] for f in findings if f.code == "unused-input"} & {"battery", "pot"}


def test_a_supply_a_stall_and_a_loop_use_their_signals() -> None:
    assert unused("    horn: {pulse: true}\n") == {"battery", "pot"}
    assert unused(MOTOR) == {"pot"}
    assert unused(STALL) == unused(MOTOR + LOOP) == set()
