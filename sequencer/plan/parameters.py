"""The table of parameters: those of the gait, then those of its machine."""

from collections.abc import Mapping

from sequencer.base.binary32 import load_f32
from sequencer.gait.load import LoadedFile
from sequencer.gait.machine_model import MachineFile, ParameterBlock
from sequencer.plan.context import Context
from sequencer.plan.tables import MOST_SIGNALS, Parameter


def read_parameters(context: Context, gait: Mapping[str, ParameterBlock], machine: MachineFile) -> None:
    """Enter the names and the rows of all parameters in the context; a name in both files is an error."""
    for name in (name for name in gait if name in machine.parameters):
        message = f"{name} is a parameter of the machine already"
        place = context.gait.where.key(("parameters", name))
        context.error("duplicate-name", place, message, expected="each parameter in one of the files")
    for file, given in ((context.gait, gait), (context.machine, machine.parameters)):
        declared = file.declared.get("parameters", ())
        context.declare("parameter", list(given), declared, file, first=len(context.parameters))
        context.parameters += [_parameter(context, file, name, block) for name, block in given.items()]
    if len(context.parameters) > MOST_SIGNALS:
        longer = context.gait if len(gait) >= len(machine.parameters) else context.machine
        place = longer.where.value(("parameters",))
        context.error("too-large", place, "too many parameters", expected=f"{MOST_SIGNALS}")


def _parameter(context: Context, file: LoadedFile, name: str, block: ParameterBlock) -> Parameter:
    path, where = ("parameters", name), file.where
    unit = context.unit_of("parameter", name, block.unit, where.value((*path, "unit")))
    if context.was_cut(file, *path, "unit"):
        context.withdraw("parameter", name)
    span = context.span(block.span, unit, where.value((*path, "span")))
    low, high = span or (-1.0, 1.0)
    value = context.number(block.value, unit, where.value((*path, "value")), bare=True)
    value = low if value is None else load_f32(value)
    if span is not None and not low <= value <= high:
        place = where.value((*path, "value"))
        message = f"{block.value} is outside the span of {name}"
        context.error("out-of-span", place, message, expected=f"{low:g} to {high:g} {unit}".strip())
    return Parameter(name, unit, value, low, high, where.key(path))
