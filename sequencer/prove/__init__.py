"""Holding the generated sequencer on (emulated) controllers against the reference, tick by tick, to the bit.

Where to look: `wire.py` the bytes that go in and come out, `program.py` the program that is built,
`controllers.py` on what it runs, `inputs.py` what it is fed, `run.py` the whole comparison, `report.py` what
comes out of it, `selftest.py` the program that replays one recording on a board of your own.
"""
