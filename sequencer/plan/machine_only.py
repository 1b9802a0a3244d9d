"""The plan of a machine without a walk, for programs that only know the machine."""

from sequencer.gait.load import LoadedFile
from sequencer.gait.machine_model import MachineFile
from sequencer.gait.nodes import Positions
from sequencer.plan.budget import build_budget
from sequencer.plan.context import Context, Names
from sequencer.plan.machine_tables import MachineTables
from sequencer.plan.outputs import OutputTables
from sequencer.plan.tables import Parameter, Plan
from sequencer.plan.wiring import build_wiring


def nothing_but(machine: LoadedFile) -> LoadedFile:
    """Give an empty gait file to stand beside a machine file."""
    return LoadedFile(machine.name, Positions({(): machine.where.value(())}, {}), {})


def plan_without_walk(context: Context, machine: MachineFile) -> Plan:
    """Build the plan of a machine alone; notes errors in the context."""
    tables = MachineTables(context, machine)
    _stand_ins(context, machine)
    signals = tables.signals()
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
        wiring=build_wiring(context, machine, tables, (signals, setpoints, outputs)),
        budget=build_budget(context, machine),
    )


def _stand_ins(context: Context, machine: MachineFile) -> None:
    """Let parameters of walks, which slow setpoints down, stand in as 1: the machine file lacks them."""
    known = {parameter.name for parameter in context.parameters}
    for name, block in machine.setpoints.items():
        times = block.rate.times if block.rate is not None else None
        if times is not None and times not in known:
            known.add(times)
            place = context.machine.where.value(("setpoints", name, "rate"))
            context.parameters.append(Parameter(times, "", 1.0, 1.0, 1.0, place))
    names = {parameter.name: i for i, parameter in enumerate(context.parameters)}
    context.names["parameter"] = Names(names, set(names))
