"""How many random cases a run takes: a fixed sample of them, or all (`bash tests/run --all`).

The sample of both executors is larger than the 120 gaits in which every planted fault shows. All of them take
many minutes, and are drawn anew in each run where hypothesis draws them.
"""

import os

ALL = os.environ.get("ALL_RANDOM_TESTS", "") == "yes"


def many(sample: int, everything: int) -> int:
    """Give the number of cases of this run."""
    return everything if ALL else sample
