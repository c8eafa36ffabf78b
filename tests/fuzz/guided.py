"""One process that fuzzes one target, guided by coverage: `python -m tests.fuzz.guided NAME [options of libFuzzer]`.

It is started by `python -m tests.fuzz`, once for each job, and ends with the process: libFuzzer never returns.
"""

import sys

# what is followed: our own code, and the pure Python that takes bytes apart for it
FOLLOWED = ["sequencer", "pythonosc", "mido.tokenizer", "mido.messages.decode", "mcap"]


def main() -> None:
    """Fuzz until the limits that the options say."""
    import atheris

    # the code must be imported here and nowhere before, since it is rewritten as it is loaded
    with atheris.instrument_imports(include=FOLLOWED, enable_loader_override=False):
        from tests.fuzz.targets import TARGETS

    target = TARGETS[sys.argv[1]]
    target.decode(b"")  # what is loaded late is loaded now, and not within the first input's time
    for seed in target.seeds():
        target.decode(seed)
    atheris.Setup([sys.argv[0], *sys.argv[2:]], target.decode)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
