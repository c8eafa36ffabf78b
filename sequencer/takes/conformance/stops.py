"""Trials of how a device stops: when told, when sets end, and how it takes sets that come without a due time."""

from collections.abc import Generator

import numpy as np

from sequencer.takes.conformance.bench import MOVED, STILL, Bench, Waits
from sequencer.takes.conformance.judged import Hump, Judged, broken, instants, kept, untold
from sequencer.takes.conformance.sets import LEAD_S, hz_of, measured, planned, told_of, wave
from sequencer.takes.conformance.speech import SECOND_NS, one

Trial = Generator[float, None, Judged]

_CARRIED_S = 0.25
_ON_RECEIPT_S = 0.15
_AT_ONCE_S = 0.025
_MID_S = 0.5  # of a move: it goes fast there
_BRAKES_S = 0.6
_FEW = 3
_JUMP = 0.9  # of a jump, which no motor makes between two of its reports


def plain_sets(bench: Bench, lasts_s: float, until_s: float = np.inf) -> list[tuple[int, bytes]]:
    """Return a hump as sets without number and due time, as far as `until_s` of it, and when to send each."""
    hz, begins_ns, hump = hz_of(bench), bench.now_ns, Hump(bench.by, lasts_s)
    times = instants(min(lasts_s, until_s), hz)
    pairs = zip(times, hump.position(times), hump.speed(times), strict=True)
    return [(begins_ns + round(t * SECOND_NS), bench.plain(float(off), float(speed))) for t, off, speed in pairs]


def plain_wave(bench: Bench, lasts_s: float, until_s: float = np.inf) -> Waits:
    """Send such a hump."""
    yield from bench.at(plain_sets(bench, lasts_s, until_s))


def back(bench: Bench, off: float) -> Waits:
    """Bring the moving axis back by `off` in two seconds, whatever kind of device it is."""
    hz, begins_ns = hz_of(bench), bench.now_ns
    times = instants(2, hz)
    half = Hump(-off, 4.0)
    pairs = zip(times, half.position(times), half.speed(times), strict=True)
    yield from bench.at(
        [(begins_ns + round(t * SECOND_NS), bench.plain(float(to), float(speed))) for t, to, speed in pairs]
    )
    yield 0.5


def _came_to_rest(bench: Bench, mark: int, wait_s: float) -> Generator[float, None, str]:
    """Wait, and say what is wrong where the moving axis does not stand then; it is asked nothing meanwhile."""
    yield wait_s
    bench.say(one("/rig/ping", "i", 1))
    yield 0.3
    times, positions = bench.tracked(mark)
    recent = positions[times > times[-1] - 0.2] if len(times) else positions
    if len(recent) < 2:
        return "it does not say any more where it stands"
    if float(np.ptp(recent)) > 2 * STILL * abs(bench.by):
        return f"{wait_s + 0.3:.1f} s later it still moves"
    return ""


def stop(bench: Bench) -> Trial:
    """It brakes at /stop while sets go on coming, and ignores sets until it is asked."""
    yield from bench.ready()
    mark, stop_ns = bench.mark(), bench.now_ns + round((_MID_S + (LEAD_S if bench.schedules else 0)) * SECOND_NS)
    if bench.schedules:
        due = [(each.at_ns, each.packet) for each in planned(bench, 2.4, hz_of(bench))]
    else:
        due = plain_sets(bench, 2.4)
    told = (stop_ns, one("/stop"))
    yield from bench.at(
        [*(each for each in due if each[0] <= stop_ns), told, *(each for each in due if each[0] > stop_ns)]
    )
    bench.say(one("/rig/ping", "i", 2))
    yield 0.2
    times, positions = bench.tracked(mark)
    after = positions[times > stop_ns / SECOND_NS + _BRAKES_S]
    if len(after) < _FEW:
        return broken("after /stop it did not say any more where it stands, although sets and a ping came")
    if float(np.ptp(positions)) < MOVED * abs(bench.by):
        return untold("it did not move before it was stopped")
    if float(np.ptp(after)) > MOVED * abs(bench.by):
        return broken(f"{_BRAKES_S} s after /stop it moved: it must brake, and ignore sets until /rig/ask")
    mark, stood = bench.mark(), float(after[-1])
    way = abs(stood - bench.start[bench.place])
    # nobody has asked, so a ping and new sets must not move it either
    if bench.schedules:
        yield from wave(bench, 0.8)
    else:
        yield from plain_wave(bench, 0.8)
    bench.say(one("/rig/ping", "i", 3))
    yield 0.2
    _, positions = bench.tracked(mark)
    if len(positions) == 0 or float(np.abs(positions - stood).max()) > MOVED * abs(bench.by):
        return broken("after /stop a ping made it listen to sets again; only /rig/ask may")
    if bench.schedules and (yield from _goes_stale(bench)):
        return broken("once it listened again it played a set that was due before; a link may bring such a one late")
    return kept(f"stood {way:.3g} from where it began")


def _goes_stale(bench: Bench) -> Generator[float, None, bool]:
    """Send a set that was due while it was deaf; return whether it goes there once it listens."""
    due_ns = bench.now_ns - SECOND_NS // 20
    yield from bench.ready()
    mark = bench.mark()
    bench.say(bench.scheduled(bench.next_number(), due_ns, bench.by / 2))
    yield from bench.sent()
    yield 0.6
    _, positions = bench.tracked(mark)
    return len(positions) > 0 and float(np.abs(positions - bench.start[bench.place]).max()) > MOVED * abs(bench.by)


def ran_out(bench: Bench) -> Trial:
    """When its buffer runs empty in mid-move it brakes, says so, and ignores sets until it is asked."""
    yield from bench.ready()
    mark = bench.mark()
    sets = planned(bench, 2.0, hz_of(bench), until_s=0.5)
    last = sets[-1].number
    yield from bench.at([(each.at_ns, each.packet) for each in sets])
    yield from bench.rest(sets[-1].due_ns)
    wrong = yield from _came_to_rest(bench, mark, 0.8)
    if wrong:
        return broken(f"after its last set {wrong}")
    told = bench.said("/device/ran-out", mark)
    if len(told) < 3:
        return broken(f"/device/ran-out came {len(told)} times in a second")
    if any(each.values != (last,) for each in told):
        return broken(f"it says that it ran out after the set {told[-1].values}; the last was {last}")
    stood, mark = bench.stands() or 0.0, bench.mark()
    yield from wave(bench, 0.8)
    _, positions = bench.tracked(mark)
    if len(positions) == 0 or float(np.abs(positions - stood).max()) > MOVED * abs(bench.by):
        return broken("after it had run out it followed sets although nobody had asked it with /rig/ask")
    bench.say(one("/rig/ask"))
    yield 0.3
    mark = bench.mark()
    yield 0.5
    if bench.said("/device/ran-out", mark):
        return broken("it still says that it ran out after it was asked with /rig/ask")
    return kept()


def rests(bench: Bench) -> Trial:
    """When the buffer runs empty while the plan stands, nothing has run out."""
    yield from bench.ready()
    mark = bench.mark()
    yield from wave(bench, 0.8)
    yield 0.5
    if bench.said("/device/ran-out", mark):
        return broken("it says that it ran out at the end of a plan that stands")
    return kept()


def at_once(bench: Bench) -> Trial:
    """It follows sets without a due time as they come."""
    yield from bench.ready()
    mark, begins_ns = bench.mark(), bench.now_ns
    yield from plain_wave(bench, 1.5)
    yield 0.3
    found = measured(bench, mark, begins_ns, Hump(bench.by, 1.5).position, 1.5)
    wrong = told_of(bench, found, _ON_RECEIPT_S)
    return broken(wrong) if wrong else kept(f"{found.delay_s * 1e3:+.0f} ms, within {found.worst:.2g}")


def ends(bench: Bench) -> Trial:
    """When such sets end in mid-move it carries on for a quarter of a second at most, then brakes and holds."""
    yield from bench.ready()
    mark = bench.mark()
    yield from plain_wave(bench, 2.0, 0.5)
    ended_ns = bench.now_ns
    wrong = yield from _came_to_rest(bench, mark, 1.0)
    if wrong:
        return broken(f"after the last set {wrong}")
    times, positions = bench.tracked(mark)
    stood = positions[-1]
    if float(np.ptp(positions)) < MOVED * abs(bench.by):
        return untold("it did not move before they ended")
    moved = np.abs(positions - stood) > 5 * STILL * abs(bench.by)
    after_s = float(times[moved].max()) - ended_ns / SECOND_NS if moved.any() else 0.0
    if after_s > 2 * _CARRIED_S + 0.2:
        return broken(f"it came to rest {after_s:.2f} s after the last set")
    beyond = abs(stood - bench.start[bench.place] - bench.by / 2)
    return kept(f"came to rest {max(after_s, 0.0):.2f} s after the last set, {beyond:.2g} further on")


def limited(bench: Bench) -> Trial:
    """A plan that jumps does not make it jump."""
    yield from bench.ready()
    mark, begins_ns = bench.mark(), bench.now_ns + SECOND_NS // 3
    half = bench.by / 2
    jump = [bench.scheduled(bench.next_number(), begins_ns + at * SECOND_NS // 50, 0.0) for at in range(6)]
    jump += [bench.scheduled(bench.next_number(), begins_ns + SECOND_NS // 10 + at * 1_000_000, half) for at in (1, 2)]
    jump += [bench.scheduled(bench.next_number(), begins_ns + at * SECOND_NS // 50, half) for at in range(10, 30)]
    yield from bench.at([(bench.now_ns, packet) for packet in jump])
    yield from bench.rest(begins_ns + SECOND_NS)
    times, positions = bench.tracked(mark)
    steps, apart = np.abs(np.diff(positions)), np.diff(times)
    if len(steps) == 0 or np.ptp(positions) < _JUMP * abs(half):
        return broken("it did not go where it was sent")
    if (steps[apart < _AT_ONCE_S] > _JUMP * abs(half)).any():
        return broken(
            "it says that it was there within two hundredths of a second: keep its limits of speed and acceleration "
            "(or, if it truly is that quick, try a larger --by)"
        )
    return kept()


def here(bench: Bench) -> Trial:
    """It counts anew at rest, and only then."""
    yield from bench.ready()
    yield 0.5
    stood, off = bench.start[bench.place], bench.by / 4
    mark = bench.mark()
    bench.say(one(f"/rig/{bench.axis}/here", "f", stood + off))
    yield 0.3
    if abs((bench.stands(mark) or stood) - stood - off) > STILL * abs(bench.by):
        return untold("it does not know /rig/AXIS/here; homing by the program needs it")
    bench.say(one(f"/rig/{bench.axis}/here", "f", stood))
    yield 0.3
    mark, begins_ns = bench.mark(), bench.now_ns
    for tick in range(25):
        yield from bench.rest(begins_ns + tick * SECOND_NS // 50)
        bench.say(bench.plain(0.0))
        if tick == 12:
            bench.say(one(f"/rig/{bench.axis}/here", "f", stood + off))
    yield 0.4
    _, positions = bench.tracked(mark)
    if len(positions) and float(np.abs(positions - stood).max()) > MOVED * abs(bench.by):
        return broken("it counted anew while setpoint sets came: the next set sends it off by as much")
    return kept()
