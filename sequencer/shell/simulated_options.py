"""The command line of the simulated rig's process."""

import argparse
import math
from pathlib import Path

from sequencer.project.files import RIG


def _seed(written: str) -> int:
    seed = int(written)
    if seed < 0:
        raise argparse.ArgumentTypeError(f"{written} is below zero")
    return seed


def _share(written: str) -> float:
    share = float(written)
    if not 0 <= share <= 1:
        raise argparse.ArgumentTypeError(f"{written} is not a share from 0 to 1")
    return share


def _while(written: str) -> tuple[float, float]:
    from_s, _, to_s = written.partition(",")
    if not 0 <= float(from_s) < float(to_s):
        raise argparse.ArgumentTypeError(f"{written} is no while; write it as 2,5: from 2 s to 5 s")
    return float(from_s), float(to_s)


def _off(written: str) -> tuple[str, float]:
    name, _, value = written.partition("=")
    if not (name and value and math.isfinite(float(value))):
        raise argparse.ArgumentTypeError(f"{written} is no axis and number; write it as slide=37.5")
    return name, float(value)


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
