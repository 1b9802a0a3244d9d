"""Reports of logs that no gait of ours made: any CSV with a column `phase`."""

from collections.abc import Sequence

from sequencer.base.errors import MisuseError
from sequencer.show.report.document import ReportDocument


def logs_document(paths: Sequence[str], notes: Sequence[str] = ()) -> ReportDocument:
    """Read one log, or two to be laid over each other, and describe them."""
    raise MisuseError("logs without a gait can't be shown yet", hint="say which gait with --gait")
