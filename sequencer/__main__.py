"""Run the command: `python -m sequencer`."""

import os
import sys

if sys.path[0] == os.getcwd() != os.path.dirname(os.path.dirname(os.path.abspath(__file__))):
    # `-m` looks for modules in the folder one stands in before all others, and that may be a stranger's project
    del sys.path[0]

from sequencer.cli.start import main  # what it brings is looked for where it should be only now

if __name__ == "__main__":
    main()
