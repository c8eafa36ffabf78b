"""Run the command: `python -m sequencer`."""

from sequencer.cli.start import main

if __name__ == "__main__":
    main()
