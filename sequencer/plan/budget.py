"""What a program may take of a controller, as the machine file says."""

from sequencer.base.places import Place
from sequencer.gait.budget_model import BudgetBlock, LimitText
from sequencer.gait.machine_model import MachineFile
from sequencer.plan.boards import BOARDS
from sequencer.plan.budget_tables import Budget, Limit
from sequencer.plan.context import Context

# those that can be emulated; the boards are known besides
CONTROLLERS = ("atmega328p", "atmega2560", "cortex-m3", "cortex-m4f")
_UNKNOWN_SIZE = ("cortex-m3", "cortex-m4f")  # a core, not a part: nobody knows how much flash is beside it


def build_budget(context: Context, machine: MachineFile) -> Budget | None:
    """Build the budget of a machine file, None if it has none; notes errors in the context."""
    block = machine.budget
    if block is None:
        return None
    place = context.machine.where.key(("budget",))
    return Budget(
        controller=_controller(context, machine, block, place),
        flash=_limit(context, "flash", block.flash, block),
        ram=_limit(context, "ram", block.ram, block),
        worst_tick=_limit(context, "worst_tick", block.worst_tick, block),
        place=place,
    )


def _controller(context: Context, machine: MachineFile, block: BudgetBlock, place: Place) -> str:
    known = (*CONTROLLERS, *BOARDS)
    if block.controller is not None:
        if block.controller not in known:
            close = context.nearest(block.controller, known)
            context.error(
                "unknown-name",
                context.machine.where.value(("budget", "controller")),
                f"there is no controller {block.controller}",
                expected=f"one of {', '.join(known)}",
                fix=f"did you mean {close}?" if close else "",
            )
        return block.controller
    board = machine.wiring.board if machine.wiring is not None else ""
    cut = any(context.was_cut(context.machine, *path) for path in _SAID)
    if board not in BOARDS and not cut:
        message = "the budget does not say of which controller"
        expected = f"controller: one of {', '.join(known)}; or a known board under wiring"
        context.error("missing-key", place, message, expected=expected)
    return board


_SAID = (("budget", "controller"), ("wiring",), ("wiring", "board"))


def _limit(context: Context, key: str, text: LimitText | None, block: BudgetBlock) -> Limit | None:
    if text is None:
        return None
    place = context.machine.where.value(("budget", key))
    if text.amount <= 0 or (text.share and text.amount > 1):
        expected = "above 0" + (", at most 100 %" if text.share else "")
        context.error("out-of-span", place, f"{key} cannot be kept", expected=expected)
    elif text.share and key != "worst_tick" and block.controller in _UNKNOWN_SIZE:
        message = f"nobody knows how much {key} a part with {block.controller} has"
        context.error("bad-unit", place, message, expected="bytes, such as 100 kB")
    return Limit(text.amount, text.share, place)
