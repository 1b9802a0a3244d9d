"""Traces: reading recordings, making them, and the blocks of ticks that executors take."""
