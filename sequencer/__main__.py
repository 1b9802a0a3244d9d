"""`python -m sequencer` does what the command `sequencer` does."""

import sys

from sequencer.cli.main import main

sys.exit(main())
