"""Run the command: `python -m sequencer`."""

from sequencer.cli.app import main

if __name__ == "__main__":
    main()
