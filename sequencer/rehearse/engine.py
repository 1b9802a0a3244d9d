"""The physics engine: MuJoCo, an extra of this package, imported only when a rehearsal begins."""

from typing import Any

from sequencer.base.errors import ToolError

INSTALL = "pip install 'gait-sequencer[rehearse]', or pip install 'mujoco>=3.2'"


def engine() -> Any:
    """Import the engine. Raises ToolError if it is not installed."""
    try:
        import mujoco
    except ImportError as error:
        raise ToolError(
            f"a rehearsal needs the physics engine MuJoCo, which cannot be imported: {error}", hint=INSTALL
        ) from None
    return mujoco
