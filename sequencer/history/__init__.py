"""What happened: the record of a run, the cause of each transition, the margins."""
