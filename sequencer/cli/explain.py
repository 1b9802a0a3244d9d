"""`sequencer explain`: what a finding's code means."""
