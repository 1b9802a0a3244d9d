"""Small plans for the tests of recordings, laid out by hand: they need signals and names, but no walk."""

from sequencer.base.places import NOWHERE
from sequencer.plan.tables import (
    Exit,
    Follower,
    Guard,
    Name,
    Node,
    OnEvent,
    Parameter,
    Phase,
    Plan,
    Rate,
    Remote,
    Sequence,
    Setpoint,
    Signal,
)


def signal(name: str, unit: str = "deg", **changed: object) -> Signal:
    """Make a signal with a span of -45 to 45 and no noise, or as changed."""
    fields: dict[str, object] = {
        "gain": 1.0,
        "bias": 0.0,
        "low": -45.0,
        "high": 45.0,
        "every_us": None,
        "noise": 0.0,
        "lost_after_ms": None,
        "believe": None,
        "scaled": False,
        "place": NOWHERE,
    }
    return Signal(name=name, unit=unit, **(fields | changed))  # type: ignore[arg-type]


def plan(*signals: Signal, remote: bool = True, tick_ms: int = 10, **changed: object) -> Plan:
    """Make a plan of one sequence that leaves its first phase with the event go."""
    leave = Exit(guard=0, to=1, place=NOWHERE)
    fields: dict[str, object] = {
        "name": "small",
        "about": "",
        "machine": "small",
        "tick_ms": tick_ms,
        "signals": signals,
        "events": (Name("go", NOWHERE), Name("halt", NOWHERE)),
        "switches": (Name("motors", NOWHERE), Name("walk", NOWHERE)),
        "remote": Remote((0, 1), (0, 1), 100_000, 500, NOWHERE) if remote else None,
        "setpoints": (),
        "parameters": (
            Parameter("lean_angle", "deg", 15.0, 8.0, 20.0, NOWHERE),
            Parameter("lift", "mm", 40.0, 0.0, 55.0, NOWHERE),
        ),
        "counters": (),
        "pulses": (),
        "leaves": (OnEvent(0, NOWHERE),),
        "guards": (Guard(0, (Node("leaf", 0),), (0,), None, NOWHERE),),
        "sequences": (
            Sequence("walk", (_phase("standing", (leave,)), _phase("leaning", ())), 0, 0, 0, 0, NOWHERE),
        ),
        "anywhere": (),
        "rules": (),
        "loops": (),
        "outputs": (),
        "latches": 0,
        "holds": 0,
        "sources": ("small.gait.yaml",),
    }
    return Plan(**(fields | changed))  # type: ignore[arg-type]


def setpoint(
    name: str, *followers: tuple[int, float], unit: str = "deg", rate: float | None = 16.0
) -> Setpoint:
    """Make a setpoint of -20 to 20 that starts at 0, with its followers as (signal, offset)."""
    return Setpoint(
        name=name,
        unit=unit,
        low=-20.0,
        high=20.0,
        start=0.0,
        rate=None if rate is None else Rate(rate / 100, None, rate),
        followers=tuple(Follower(s, offset) for s, offset in followers),
        owner=0,
        place=NOWHERE,
    )


def _phase(name: str, exits: tuple[Exit, ...]) -> Phase:
    return Phase(
        name=name,
        about="",
        rest=name == "standing",
        stop=None,
        commands=(),
        keep=(),
        count=(),
        reset=(),
        pulse=(),
        exits=exits,
        timeout=None,
        never_because="",
        mirrored_from="",
        place=NOWHERE,
    )
