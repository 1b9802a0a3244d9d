"""What a machine file says about the numbers of the sequencer."""

from sequencer.base.binary32 import load_f32
from sequencer.base.places import Place
from sequencer.base.quantities import Quantity
from sequencer.gait.machine_model import MachineFile
from sequencer.plan.context import Context
from sequencer.plan.fixed import in_int16
from sequencer.plan.resolutions import Given, Member
from sequencer.plan.tables import Plan


def with_arithmetic(plan: Plan, context: Context, machine: MachineFile, *, as_written: bool) -> Plan:
    """Turn a plan into whole steps if the machine file asks for it; notes an error for what does not work."""
    given = _resolutions(plan, context, machine)
    if machine.arithmetic != "int16" or not as_written or context.findings:
        return plan
    fixed, problems = in_int16(plan, given)
    for problem in problems:
        context.error(
            "bad-resolution", problem.place, problem.message, expected=problem.expected, fix=problem.fix
        )
    return fixed


def _resolutions(plan: Plan, context: Context, machine: MachineFile) -> dict[Member, Given]:
    """Read the resolutions; they are looked at in binary32, too, so that a slip shows before it matters."""
    written: list[tuple[Member, str, str, str, Quantity | None]] = [
        *(
            (("signal", i), "signals", signal.name, signal.unit, machine.signals[signal.name].resolution)
            for i, signal in enumerate(plan.signals)
        ),
        *(
            (("setpoint", i), "setpoints", one.name, one.unit, machine.setpoints[one.name].resolution)
            for i, one in enumerate(plan.setpoints)
        ),
    ]
    given = {}
    for member, top, name, unit, quantity in written:
        if quantity is not None:
            place = context.machine.where.value((top, name, "resolution"))
            size = _size(context, place, quantity, unit)
            if size is not None:
                given[member] = Given(size, place)
    return given


def _size(context: Context, place: Place, quantity: Quantity, unit: str) -> float | None:
    value = context.number(quantity, unit, place, bare=True)
    if value is None:
        return None
    if load_f32(value) <= 0:
        context.error("bad-resolution", place, f"a step of {quantity}", expected="a size above 0")
        return None
    return load_f32(value)
