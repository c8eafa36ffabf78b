"""Trials of what a device says: itself, its time, where it stands, and that nonsense does not disturb it."""

import math
from collections.abc import Generator

import numpy as np

from sequencer.takes.conformance.bench import MOVED, Bench
from sequencer.takes.conformance.judged import Judged, broken, kept, untold
from sequencer.takes.conformance.sets import wave
from sequencer.takes.conformance.speech import SECOND_NS, bundle, device_ns, message, one
from sequencer.wire.timetag import IMMEDIATELY

Trial = Generator[float, None, Judged]

LEAST_ROOM = 32
LEAST_RATE = 50
_LEAST_ACTUAL_HZ = 50
_SLACK = 0.9  # of a number of answers: what a link may lose or a count may miss at its ends
_OLD_S = 0.1
_EARLY_S = 0.005
_CLOCK_PPM = 1000
_NONSENSE_SEED = 7


def hello(bench: Bench) -> Trial:
    """It says what it is."""
    if not (yield from bench.hello()) or bench.able is None:
        return broken("no /device/able came with version, name, axes, buffer, sets a second, boot number, axis names")
    able = bench.able
    if able.room < LEAST_ROOM or able.rate < LEAST_RATE:
        return broken(
            f"it holds {able.room} sets and takes {able.rate} a second; {LEAST_ROOM} and {LEAST_RATE} are the least"
        )
    if able.version < 1 or not able.axes or len(set(able.axes)) < len(able.axes):
        return broken(f"it says version {able.version} and axes {able.axes}")
    if bench.wanted and bench.wanted not in able.axes:
        return broken(f"it has no axis {bench.wanted}; it has {', '.join(able.axes)}")
    axes = ", ".join(able.axes)
    return kept(f"{able.name}: version {able.version}, {axes}; holds {able.room} sets, takes {able.rate} a second")


def version(bench: Bench) -> Trial:
    """It ignores setpoint sets of a version that it does not speak."""
    yield from bench.ready()
    if not (yield from bench.hello(0)):
        return broken("a hello of version 0 was not answered; answer it, so that the host can name both versions")
    mark = bench.mark()
    yield from wave(bench, lasts_s=0.8)
    moved = went(bench, mark)
    if not (yield from bench.hello()):
        return broken("it did not answer a second hello")
    if moved:
        return broken("after a hello of version 0, which no device speaks, it still followed setpoint sets")
    return kept()


def time(bench: Bench) -> Trial:
    """It says its time, which flows evenly."""
    mark, asked = bench.mark(), {}
    for number in range(1000, 1050):
        asked[number] = bench.now_ns
        bench.say(one("/device/time", "i", number))
        yield 0.02
    yield 0.2
    told = [told for told in bench.said("/device/time", mark) if told.types == "itt"]
    if len(told) < _SLACK * len(asked):
        return broken(f"of {len(asked)} questions {len(told)} were answered with a number and two timetags")
    if any(told.values[0] not in asked for told in told):
        return broken("an answer does not have the number of the question")
    rows = np.array([[asked[int(t.values[0])], *(device_ns(int(tag)) for tag in t.values[1:]), t.at_ns] for t in told])
    t1, t2, t3, t4 = (rows - rows[0, [0, 1, 1, 0]]).T / SECOND_NS
    if (t3 < t2).any():
        return broken("it says that it answered before it was asked")
    if (np.diff(t2) <= 0).any():
        return broken("its time does not go on from question to question")
    delays = (t4 - t1) - (t3 - t2)
    drift = abs((t2[-1] - t2[0]) / (t1[-1] - t1[0]) - 1)
    if drift > _CLOCK_PPM * 1e-6 + 2 * np.ptp(delays) / (t1[-1] - t1[0]) or delays.min() < -1e-3:
        return broken(f"its second lasts {1 / (1 - drift):.4f} of ours: is its time written in the right unit?")
    return kept(f"answers within {np.median(delays) * 1e3:.2f} ms")


def actual(bench: Bench) -> Trial:
    """It says where every axis stands, fifty times a second or more, with the instant."""
    yield from bench.ready()
    mark = bench.mark()
    for _ in range(2):
        bench.say(one("/rig/ask"))
        yield 0.5
    for name in bench.axes:
        told = bench.said(f"/rig/{name}/actual", mark)
        if len(told) < _SLACK * _LEAST_ACTUAL_HZ:
            return broken(f"/rig/{name}/actual came {len(told)} times in a second")
        if any(each.types not in ("f", "d") or each.number is None for each in told):
            return broken(f"/rig/{name}/actual has something else than one number")
        if not bench.schedules:
            continue
        if any(each.tag == IMMEDIATELY for each in told):
            return broken(f"/rig/{name}/actual comes without the device time at which the axis stood there")
        ages = [(each.at_ns + bench.offset_ns - device_ns(each.tag)) / SECOND_NS for each in told]
        if max(ages) > _OLD_S or min(ages) < -_EARLY_S:
            return broken(f"by its timetags /rig/{name}/actual is {min(ages):.3f} to {max(ages):.3f} s old")
    return kept(f"{len(bench.said(f'/rig/{bench.axis}/actual', mark))} times in a second")


def silent(bench: Bench) -> Trial:
    """It speaks for two seconds after the last packet, and then no more."""
    yield from bench.ready()
    yield from bench.sent()
    yield 1.5
    mark = bench.mark()
    yield 0.3
    if not bench.said(f"/rig/{bench.axis}/actual", mark):
        return broken("it fell silent less than two seconds after it was asked")
    yield 0.6
    mark = bench.mark()
    yield 0.5
    if len(bench.told) > mark:
        return broken(f"it still speaks ({bench.told[-1].address}) 2.5 s after the last packet came to it")
    return kept()


def ping(bench: Bench) -> Trial:
    """It brings the number of a ping back at once, with where the axes stand behind it."""
    for number in (77, 2_000_000_007):
        mark = bench.mark()
        bench.say(one("/rig/ping", "i", number))
        if not (yield from bench.until("/rig/pong", mark, 0.5)):
            return untold("it knows no ping: round trip and loss of the link are not known then")
        yield 0.05
        pongs = bench.said("/rig/pong", mark)
        if [told.values for told in pongs] != [(number,)]:
            return broken(f"the ping {number} came back as {[told.values for told in pongs]}")
        if not bench.said(f"/rig/{bench.axis}/actual", mark):
            return broken("no /rig/AXIS/actual came behind the pong")
    return kept()


def switch(bench: Bench) -> Trial:
    """Of a homing switch it says whether it is closed, twice a second at least."""
    mark = bench.mark()
    for _ in range(3):
        bench.say(one("/rig/ask"))
        yield 0.5
    found = []
    for name in bench.axes:
        told = bench.said(f"/rig/{name}/switch", mark)
        if any(each.values not in ((0,), (1,)) for each in told):
            return broken(f"/rig/{name}/switch is {told[-1].values}; it must be 0 or 1")
        if len(told) == 1:
            return broken(f"/rig/{name}/switch came once in 1.5 s")
        found += [name] if told else []
    return kept(f"of {', '.join(found)}") if found else untold("it has no homing switch")


def nonsense(bench: Bench) -> Trial:
    """What is no message of the protocol does nothing."""
    yield from bench.ready()
    mark = bench.mark()
    for packet in _nonsense(bench):
        bench.say(packet)
        yield 0.01
    yield from bench.sent()
    yield 0.3
    if went(bench, mark):
        return broken("it moved at what is no setpoint set")
    mark = bench.mark()
    bench.say(one("/rig/ask"))
    if not (yield from bench.until(f"/rig/{bench.axis}/actual", mark, 1.0)):
        return broken("after it had heard what is no message of the protocol it answered no more")
    return kept()


def _nonsense(bench: Bench) -> list[bytes]:
    chance = np.random.default_rng(_NONSENSE_SEED)
    good = bundle([message("/plan/number", "i", 7), *bench.pose(bench.by)])
    plain = bench.plain(bench.by)
    name = bench.axis
    nested = plain
    for _ in range(12):
        nested = bundle([nested])
    return [
        *(chance.bytes(int(size)) for size in chance.integers(1, 200, 12)),
        *(good[: int(size)] for size in chance.integers(17, len(good), 12)),
        *(plain[: int(size)] for size in chance.integers(17, len(plain), 6)),
        b"",
        b"#bundle\0",
        b"/",
        b"/rig/" + b"x" * 900,
        chance.bytes(3000),
        nested,
        one(f"/rig/{name}/position", "s", "far"),
        one(f"/rig/{name}/position"),
        *(one(f"/rig/{name}/position", "f", value) for value in (math.nan, math.inf, -math.inf)),
        bundle([message("/plan/number", "i", -5), *bench.pose(bench.by)]),
        bundle([message("/plan/number", "s", "one"), *bench.pose(bench.by)]),
        one("/rig/nobody/position", "f", 3.0),
        one("/device/hello", "s", "you"),
        one("/device/time"),
        one("/unknown", "ii", 1, 2),
        *(one(address, "h", 1 << 40) for address in ("/device/time", "/device/hello", "/rig/ping")),
        *(one(address, "t", (1 << 64) - 5) for address in ("/device/time", "/rig/ping")),
    ]


def same(bench: Bench) -> Trial:
    """It has not begun anew meanwhile."""
    if not (yield from bench.hello()) or bench.able is None:
        return broken("it does not answer any more")
    if bench.boot != bench.able.boot:
        return broken("its boot number has changed: it was reset in the middle of the trials")
    return kept()


def went(bench: Bench, mark: int) -> bool:
    """Whether the moving axis left its place since a mark."""
    _, positions = bench.tracked(mark)
    return len(positions) > 0 and float(np.ptp(positions)) > MOVED * abs(bench.by)
