"""How a number of kills is shared out among writers and whole runs, and one of each, for a process of its own."""

from tests.crash.kills import Killed, kill
from tests.crash.power import ROUNDS, Cuts, cut
from tests.crash.runs import KINDS, kill_run
from tests.crash.writers.listed import CUT, KILLED

# of a thousand kills: whole runs take seconds each, promises of half a second need one
_OF_1000 = {"takes": 20, "play": 20, "editor": 60, "setpoints": 60, "mcap": 60}


def shared_out(kills: int) -> dict[str, int]:
    """Return how often each is killed: whole runs in parts of a thousand, the writers the rest in equal parts."""
    share = {name: kills * part // 1000 for name, part in _OF_1000.items()}
    others = [name for name in KILLED if name not in share]
    left = kills - sum(share.values())
    share |= {name: left // len(others) + (number < left % len(others)) for number, name in enumerate(others)}
    return {name: share[name] for name in (*KILLED, *KINDS)}


def one_kill(name: str, seed: int) -> Killed:
    """Kill one of them."""
    return kill_run(name, seed) if name in KINDS else kill(KILLED[name], seed)


def one_cut(name: str, count: int, seed: int) -> Cuts:
    """Cut the power of one writer."""
    return cut(CUT[name], ROUNDS[name], count, seed)
