"""What a run of a plan was: its record, its transitions and their causes, margins, a summary.

`blocks.py` the record that every executor writes, `recorder.py` and `run.py` a run built from it, `drive.py`
running a plan on a recording or in a closed loop, `compare.py` two records bit by bit, `margins.py` guards
over time, `spare.py` what fired guards had to spare, `cause.py` and `missing.py` what a wait lacked,
`summary.py` all of it in a few figures.
"""
