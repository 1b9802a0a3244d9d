"""The physics engine: MuJoCo, an extra of this package, imported only when a rehearsal begins."""

from typing import Any

from sequencer.base.errors import ToolError

INSTALL = "pip install 'gait-sequencer[rehearse]', or pip install 'mujoco>=3.2'"


def engine() -> Any:
    """Import the engine. Raises ToolError if it is not installed.

    What it warns of is looked up in its state (`unsound`), not printed and not logged to a file of its own.
    """
    try:
        import mujoco
    except ImportError as error:
        raise ToolError(
            f"a rehearsal needs the physics engine MuJoCo, which cannot be imported: {error}", hint=INSTALL
        ) from None
    mujoco.set_mju_user_warning(_leave)
    return mujoco


def _leave(_: str) -> None:
    """Take a warning of the engine and do nothing."""


def unsound(data: Any) -> bool:
    """Tell whether the engine came upon numbers that are none, or far too large."""
    kinds = engine().mjtWarning
    return any(
        data.warning[int(kind)].number > 0
        for kind in (kinds.mjWARN_BADQPOS, kinds.mjWARN_BADQVEL, kinds.mjWARN_BADQACC)
    )
