"""Rehearsing a walk in physics: the walk's own code in a closed loop with a body that can fall."""
