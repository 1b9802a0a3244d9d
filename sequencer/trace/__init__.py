"""Traces: reading recordings, making them, and the blocks of ticks that executors take.

=============================  ==============================================================================
`read.open_trace`              a recording as blocks of ticks: CSV, Parquet, standard input; constant memory
`write.write_trace`            blocks of ticks to a file that reads back to the same bits
`make.make_trace`              blocks of ticks from a script (`script` describes the format)
`follow.FollowPlant`           a machine that does what it is told, for dry runs in a closed loop
`record.TraceRecorder`         collects single ticks into a recording
`layout`                       what the columns of a recording mean, and names of foreign ones
`ticks`                        which rows a tick takes
=============================  ==============================================================================
"""
