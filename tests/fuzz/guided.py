"""One process that fuzzes one target, guided by coverage: `python -m tests.fuzz.guided NAME [options of libFuzzer]`.

It is started by `python -m tests.fuzz`, once for each job, and ends with the process: libFuzzer never returns.
"""

import gc
import signal
import sys


def main() -> None:
    """Fuzz until the limits that the options say."""
    import atheris

    from tests.fuzz import followed

    # the code must be imported here and nowhere before, since it is rewritten as it is loaded
    sys.meta_path.insert(0, followed.Following())
    from tests.fuzz.targets import TARGETS

    sys.meta_path.pop(0)
    target = TARGETS[sys.argv[1]]
    for function in target.within():
        function.__code__ = followed.rewritten(function.__code__)
    target.decode(b"")  # what is loaded late is loaded now, and not within the first input's time
    for seed in target.seeds():
        target.decode(seed)
    atheris.Setup([sys.argv[0], *sys.argv[2:]], target.decode)
    followed.hand_over()
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # libFuzzer's own way to end in order, not an error in the decoder
    gc.collect()
    gc.freeze()  # what is there stays, and need not be looked at again
    atheris.Fuzz()


if __name__ == "__main__":
    main()
