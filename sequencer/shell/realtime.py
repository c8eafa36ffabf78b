"""Asks the operating system for punctual waking, and says in words what it got. No decision hangs on it."""

import contextlib
import ctypes
import gc
import os
import sys

_PR_SET_TIMERSLACK = 29
_MCL_CURRENT_AND_FUTURE = 3
PRIORITY = 80


def be_punctual(wanted: bool = True) -> str:
    """Ask for real-time scheduling, fine timers and locked memory, freeze the garbage; return what was granted.

    Call it when everything is loaded. Where the system refuses, ticks are as punctual as it makes them.
    """
    gc.collect()
    gc.freeze()
    gc.disable()
    if not sys.platform.startswith("linux"):
        return "normal scheduling"
    libc = ctypes.CDLL(None, use_errno=True)
    with contextlib.suppress(AttributeError):
        libc.prctl(_PR_SET_TIMERSLACK, 1, 0, 0, 0)
        libc.mlockall(_MCL_CURRENT_AND_FUTURE)
    if not wanted:
        return "normal scheduling, as asked"
    try:
        # processes that this one may start must not inherit the priority
        os.sched_setscheduler(0, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(PRIORITY))
    except OSError:
        return (
            "normal scheduling; real-time scheduling was refused (give this user an rtprio limit for fewer late ticks)"
        )
    return f"real-time scheduling, priority {PRIORITY}"
