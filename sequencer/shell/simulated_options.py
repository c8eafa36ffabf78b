"""The command line of the simulated rig's process: its faults among it, and who started it."""

import argparse
import math
import os
import stat
import sys
from dataclasses import dataclass
from pathlib import Path

from sequencer.project.files import RIG


@dataclass(frozen=True, slots=True, kw_only=True)
class Faults:
    """What is wrong with this rig, on purpose.

    `drop` is the share of datagrams that get lost, each way. `vanish_after_s` counts from the first setpoint: then the
    rig neither hears nor answers, as when a cable is pulled. `away_s` is such a while, from and to, after which the
    cable is back. `on_receipt` is a rig that cannot read timetags, `no_echo` one that knows no ping. `count_off` is by
    how much axes, by their names, say more than where they truly stand, as after power was off. `reboot_at_s` counts
    from the first setpoint: then the rig is reset, is away for a moment, and counts from its home anew.
    """

    mute: bool = False
    answer_delay_s: float = 0.0
    vanish_after_s: float | None = None
    away_s: tuple[float, float] | None = None
    drop: float = 0.0
    on_receipt: bool = False
    no_echo: bool = False
    count_off: tuple[tuple[str, float], ...] = ()
    reboot_at_s: float | None = None


def _seed(written: str) -> int:
    try:
        seed = int(written)
    except ValueError:
        seed = -1
    if seed < 0:
        raise argparse.ArgumentTypeError(f"{written} is no seed; write a whole number, zero or more")
    return seed


def _share(written: str) -> float:
    share = _number(written)
    if not 0 <= share <= 1:
        raise argparse.ArgumentTypeError(f"{written} is not a share; write a number from 0 to 1")
    return share


def _while(written: str) -> tuple[float, float]:
    begins, _, ends = written.partition(",")
    from_s, to_s = _number(begins), _number(ends)
    if not 0 <= from_s < to_s:
        raise argparse.ArgumentTypeError(f"{written} is no while; write it as 2,5: from 2 s to 5 s")
    return from_s, to_s


def _off(written: str) -> tuple[str, float]:
    name, _, value = written.partition("=")
    off = _number(value)
    if not (name and math.isfinite(off)):
        raise argparse.ArgumentTypeError(f"{written} is no axis and number; write it as slide=37.5")
    return name, off


def _number(written: str) -> float:
    """Return the number that is written; NaN for what is none, which no option takes."""
    try:
        return float(written)
    except ValueError:
        return math.nan


def arguments(given: list[str] | None) -> argparse.Namespace:
    """Return what the command line says."""
    parser = argparse.ArgumentParser(prog="simulated_rig", description="A simulated rig that listens to OSC.")
    parser.add_argument("--rig", type=Path, required=True, metavar="FILE", help="the rig.json that describes it")
    parser.add_argument("--port", type=int, default=0, help="UDP port on this machine; 0 takes a free one")
    parser.add_argument("--seed", type=_seed, default=1, help="seed of noise and losses")
    parser.add_argument("--mute", action="store_true", help="never answer")
    parser.add_argument("--answer-delay-s", type=float, default=0.0, metavar="S", help="answer that much later")
    parser.add_argument(
        "--vanish-after-s", type=float, metavar="S", help="fall silent that long after the first setpoint"
    )
    parser.add_argument(
        "--away", type=_while, metavar="FROM_S,TO_S", help="fall silent for that while, from the first setpoint on"
    )
    parser.add_argument(
        "--drop", type=_share, default=0.0, metavar="SHARE", help="lose that share of datagrams each way"
    )
    parser.add_argument("--on-receipt", action="store_true", help="ignore timetags")
    parser.add_argument("--no-echo", action="store_true", help="know no ping, as a rig made before there was one")
    parser.add_argument(
        "--count-off",
        type=_off,
        action="append",
        default=[],
        metavar="AXIS=VALUE",
        help="say that much more than where the axis truly stands, until it is told or homed; may be repeated",
    )
    parser.add_argument(
        "--reboot-at", type=float, metavar="S", help="be reset that long after the first setpoint, and count anew"
    )
    how = parser.parse_args(given)
    if how.rig.name != RIG:
        parser.error(f"--rig takes a project folder's {RIG}, not {how.rig}")
    return how


def faults_of(how: argparse.Namespace) -> Faults:
    """Return what is wrong with the rig, as the command line says."""
    return Faults(
        mute=how.mute,
        answer_delay_s=how.answer_delay_s,
        vanish_after_s=how.vanish_after_s,
        away_s=how.away,
        drop=how.drop,
        on_receipt=how.on_receipt,
        no_echo=how.no_echo,
        count_off=tuple(how.count_off),
        reboot_at_s=how.reboot_at,
    )


def pipe_of_starter() -> int | None:
    """Return standard input where it is a pipe, so that the rig ends with whoever started it."""
    if sys.stdin is None or sys.platform == "win32":
        return None
    mode = os.fstat(sys.stdin.fileno()).st_mode
    return sys.stdin.fileno() if stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) else None
