"""The plan of a machine without a walk, for programs that only know the machine."""

from collections.abc import Iterator
from dataclasses import replace

from sequencer.base.binary32 import load_f32
from sequencer.base.quantities import Quantity
from sequencer.gait.load import LoadedFile
from sequencer.gait.machine_model import MachineFile
from sequencer.gait.nodes import Positions
from sequencer.plan.budget import build_budget
from sequencer.plan.context import Context
from sequencer.plan.machine_tables import MachineTables
from sequencer.plan.outputs import OutputTables
from sequencer.plan.parameters import read_parameters
from sequencer.plan.tables import Parameter, Plan, Signal
from sequencer.plan.wiring import build_wiring


def nothing_but(machine: LoadedFile) -> LoadedFile:
    """Give an empty gait file to stand beside a machine file."""
    return LoadedFile(machine.name, Positions({(): machine.where.value(())}, {}), {})


def plan_without_walk(context: Context, machine: MachineFile) -> Plan:
    """Build the plan of a machine alone; notes errors in the context."""
    tables = MachineTables(context, machine)
    read_parameters(context, {}, machine)
    _stand_ins(context, machine)
    signals = tuple(_zeroed(context, signal) for signal in tables.signals())
    setpoints = tables.setpoints(signals)
    outputs = OutputTables(context, machine, tables.tick_ms, signals).build()
    return Plan(
        name=machine.machine,
        about=machine.about,
        machine=machine.machine,
        tick_ms=tables.tick_ms,
        signals=signals,
        events=tables.bare_names("events", machine.events),
        switches=tables.bare_names("switches", machine.switches),
        remote=tables.remote(machine.remote),
        setpoints=setpoints,
        parameters=tuple(context.parameters),
        counters=(),
        pulses=tables.pulses,
        leaves=(),
        guards=(),
        sequences=(),
        anywhere=(),
        rules=(),
        loops=(),
        outputs=outputs,
        latches=0,
        holds=0,
        sources=(context.machine.name,),
        helping=machine.helping,
        wiring=build_wiring(context, machine, tables, (signals, setpoints, outputs)),
        budget=build_budget(context, machine),
    )


def _zeroed(context: Context, signal: Signal) -> Signal:
    """Fold a zero that a parameter gives into the bias: without a walk nothing is trimmed."""
    if signal.zero_from is None:
        return signal
    zero = context.parameters[signal.zero_from].value
    return replace(signal, bias=load_f32(signal.bias - zero), zero_from=None)


def _stand_ins(context: Context, machine: MachineFile) -> None:
    """Let parameters of walks stand in where the machine names some that its own file lacks.

    What slows setpoints down stands in as 1, a zero as 0, a cap as all of the span.
    """
    names = context.names["parameter"]
    for name, unit, value, path in _named(machine):
        if name not in names.declared:
            names.declared.add(name)
            names.index[name] = len(context.parameters)
            place = context.machine.where.value(path)
            context.parameters.append(Parameter(name, unit, value, value, value, place))


def _named(machine: MachineFile) -> Iterator[tuple[str, str, float, tuple[str, ...]]]:
    """Give each parameter that the machine names: its name, unit, usual value, and where it is named."""
    for name, setpoint in machine.setpoints.items():
        if setpoint.rate is not None and setpoint.rate.times is not None:
            yield setpoint.rate.times, "", 1.0, ("setpoints", name, "rate")
    for name, signal in machine.signals.items():
        if isinstance(signal.zero, str):
            yield signal.zero, signal.unit, 0.0, ("signals", name, "zero")
    for name, output in machine.outputs.items():
        if isinstance(output.cap, str):
            ends = output.span or (Quantity(-1.0), Quantity(1.0))
            yield output.cap, "", max(abs(end.value) for end in ends), ("outputs", name, "cap")
