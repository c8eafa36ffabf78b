"""Starts the command. The others are read, which takes a second, only where one is named: the editor opens at once."""

import contextlib
import os
import signal
import sys

import typer

from sequencer.cli.edit import alone, edit
from sequencer.project.uncollected import uncollected


def main() -> None:
    """Run the command; its exit status is the process's."""
    for name in ("SIGTERM", "SIGHUP"):
        # whoever ends the command, or closes its window, means Ctrl-C: the rig is stopped in order
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.default_int_handler)
    _own_style()
    if sys.argv[1:2] in ([], ["edit"]):
        app = typer.Typer(
            name="twintake", invoke_without_command=True, add_completion=False, pretty_exceptions_enable=False
        )
        app.command()(edit)
        app.callback()(alone)
    else:
        with uncollected():
            from sequencer.cli.app import app
    app()


def _own_style() -> None:
    """See to it that the library that draws obeys no file of the folder one stands in, which may be a stranger's.

    It looks there first for settings, once, when it is loaded; no option turns that off.
    """
    if os.path.lexists("matplotlibrc"):
        with contextlib.chdir(os.path.dirname(__file__)):
            import matplotlib  # noqa: F401  # for its effect: it reads its settings now, from our own folder
