"""Setpoints over a link that jitters, loses and breaks off: sent ahead to the reference device, and at once."""

import statistics
import tempfile
import time
from pathlib import Path

import numpy as np

from sequencer.adapters.device_host.host import DeviceOutput
from sequencer.adapters.device_host.manner import Manner
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint
from sequencer.shell.kinds import open_output
from tests.adapters.device_script import Scripted, ScriptedLink, Time
from tests.bench.bad_link import DELAY_S, JITTER_S, LOSS
from tests.bench.encode import cost_us
from tests.bench.far_device import ACCELERATION, AMPLITUDE, HZ, REST_NS, RIG, Ends, Run, drive, ends, listens, plan
from tests.bench.table import Table

AHEAD_S = 0.8
SECONDS, OUT_S, BACK_S = 150.0, 5.0, 3.0
IMMEDIATE_S = 30.0
WINDOWS_S = ((0.0, 30.0), (30.0, 120.0), (120.0, SECONDS))
MOST_LATE_MS = 0.2
CLOCK_LIMITS_MS = ((30.0, 1.0), (120.0, 0.2))
AXES = 16
LINK = f"{DELAY_S * 1e3:.0f} ms and {JITTER_S * 1e3:.0f} ms more or less, {LOSS:.0%} lost, each way"


def tables() -> list[Table]:
    with tempfile.TemporaryDirectory() as folder:
        with ends(Path(folder), 1) as far:
            run, outage = scheduled(far)
        played = {row[0]: row[1:] for row in map(ints, far.log.read_text().splitlines())}
        real_time = far.real_time
        with ends(Path(folder), 2) as near:
            at_once, lead_s = immediate(near)
    note = (
        f"The link is a process of the benchmark ({LINK}); the device runs on MicroPython, "
        f"{'all with real-time priority' if real_time else 'all with the priority of anything else'}. "
        f"{HZ} sets a second of {len(RIG.axes)} axes, sent {AHEAD_S:g} s ahead; {run.again} went out again. "
        "How late a set was is told by the device's clock, and by this machine's: the error of what is known of the "
        "former is in the latter."
    )
    return [
        Table("Clock of the device over that link", CLOCK_COLUMNS, clock_rows(run), note),
        Table("Scheduled playback over a bad link", PLAYED_COLUMNS, played_rows(run, played, far.boot_ns), note),
        Table("Scheduled and immediate playback", LAG_COLUMNS, lag_rows(run, far, at_once, near, lead_s), LAG_NOTE),
        Table(f"The link is out for {OUT_S:g} s in mid-move", ("what", "measured", "limit", "met"), outage, note),
        cost_table(),
    ]


CLOCK_COLUMNS = ("after", "offset off by, ms", "at most, ms", "met", "as the output said, ms")
PLAYED_COLUMNS = (
    "of the run, s", "sets", "lost", "late by the device's clock p99, ms", "at most", "met",
    "with the clock's error p50, ms", "p99, ms",
)  # fmt: skip
LAG_COLUMNS = ("way", "lag p1, ms", "p50, ms", "p99, ms", "spread p1 to p99, ms")
LAG_NOTE = (
    "How far the rig was behind its plan while it was fast, as seen past the link. At once: osc with timetag=now, sent "
    "earlier by half the median round trip, after which the device carries each set on until the next comes."
)


def ints(line: str) -> tuple[int, ...]:
    return tuple(int(word) for word in line.split())


def scheduled(far: Ends) -> tuple[Run, list[tuple[str, str, str, str]]]:
    """Drive the device for a while, then let the link be out in mid-move, and come back."""
    far.tell("bad")
    address = f"device://127.0.0.1:{far.host_port}?ahead={AHEAD_S}"
    run = Run(time.monotonic_ns())
    with open_output(address, RIG) as output:
        listens(output, run, far)
        drive(output, run, REST_NS * 1e-9 + SECONDS, AHEAD_S, far)
        cut = Run(run.begun_ns)
        far.tell("out")
        drive(output, cut, OUT_S, AHEAD_S, far)
        far.tell("bad")
        back_ns = time.monotonic_ns()
        try:
            drive(output, cut, BACK_S, AHEAD_S, far, sends=False)
            told = "never"
        except LinkError:
            told = f"{(time.monotonic_ns() - back_ns) * 1e-9:.2f}"
    with open_output(address, RIG) as output:
        opened_ns = time.monotonic_ns()
        anew = Run(opened_ns)
        drive(output, anew, BACK_S, AHEAD_S, far, sends=False)
        ready_s = next((at_s for at_s, _, _ in anew.known), float("nan"))
    rows = [*brake(far, run), ("told after the link is back, s", told, f"at most {BACK_S:g}", yes(told != "never"))]
    return run, [*rows, ("clock known again after opening anew, s", f"{ready_s:.2f}", "-", "-")]


def immediate(near: Ends) -> tuple[Run, float]:
    """Drive the device by plain OSC, each set sent when it is due, less the link's delay."""
    near.tell("bad")
    with open_output(f"osc://127.0.0.1:{near.host_port}?timetag=now", RIG) as output:
        run = Run(time.monotonic_ns())
        drive(output, run, 3.0, 0.0, near, sends=False)
        lead_s = (output.link(time.monotonic_ns()).round_trip_s or 2 * DELAY_S) / 2
        listens(output, run, near)
        drive(output, run, REST_NS * 1e-9 + IMMEDIATE_S, lead_s, near)
    return run, lead_s


def clock_rows(run: Run) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for after_s, most_ms in CLOCK_LIMITS_MS:
        known = [(abs(off_s) * 1e3, said_s * 1e3) for at_s, off_s, said_s in run.known if after_s <= at_s < SECONDS]
        worst_ms = max(off_ms for off_ms, _ in known)
        said = f"{known[0][1]:.2f}"
        rows.append(
            (f"{after_s:g} s and later, the worst", f"{worst_ms:.3f}", f"{most_ms:g}", yes(worst_ms <= most_ms), said)
        )
    return rows


def played_rows(run: Run, played: dict[int, tuple[int, ...]], boot_ns: int) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for begin_s, end_s in WINDOWS_S:
        sets = [(number, due) for number, due in run.dues.items() if begin_s <= run.at_s(due) < end_s]
        there = [(played[number], due) for number, due in sets if number in played]
        late_ms = [(at + boot_ns - due) * 1e-6 for (_, at, _), due in there]
        own_ms = [late * 1e-6 for (_, _, late), _ in there]
        own = float(np.percentile(np.abs(own_ms), 99))
        rows.append(
            (
                f"{begin_s:g} to {end_s:g}",
                str(len(sets)),
                str(len(sets) - len(there)),
                f"{own:.3f}",
                f"{MOST_LATE_MS:g}",
                yes(own <= MOST_LATE_MS),
                f"{statistics.median(late_ms):.3f}",
                f"{np.percentile(np.abs(late_ms), 99):.3f}",
            )
        )
    return rows


def lag_rows(run: Run, far: Ends, at_once: Run, near: Ends, lead_s: float) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for way, drive_run, seen, until_s in (
        (f"scheduled, {AHEAD_S:g} s ahead", run, far.spy.seen, SECONDS),
        (f"at once, led by {lead_s * 1e3:.0f} ms", at_once, near.spy.seen, IMMEDIATE_S),
    ):
        lags = []
        for at_ns, stood in seen:
            at_s = drive_run.at_s(at_ns)
            position, speed = plan(at_s)
            if 0 < at_s < until_s and abs(speed[0]) > AMPLITUDE / 2:
                lags.append((position[0] - stood) / speed[0] * 1e3)
        low, middle, high = np.percentile(lags, (1, 50, 99))
        rows.append((way, f"{low:.2f}", f"{middle:.2f}", f"{high:.2f}", f"{high - low:.2f}"))
    return rows


def brake(far: Ends, run: Run) -> list[tuple[str, str, str, str]]:
    """Return how the device stopped when its sets ended, as the spy saw it."""
    seen = np.array([(run.at_s(at_ns), stood) for at_ns, stood in far.spy.seen if at_ns > run.last_ns - 500_000_000])
    times, stood = seen[:, 0], seen[:, 1]
    fresh = np.concatenate(([True], np.diff(times) > 0.004))
    times, stood = times[fresh], stood[fresh]
    speed, middle = np.diff(stood) / np.diff(times), (times[1:] + times[:-1]) / 2
    last_s = run.at_s(run.last_ns)
    standing = np.abs(speed) < 0.01
    stands_s = float(middle[np.nonzero(~standing)[0][-1]])
    before = float(np.abs(speed[np.searchsorted(middle, last_s) - 1]))
    steps = np.abs(np.diff(speed) / np.diff(middle))[(middle[1:] > last_s - 0.1) & (middle[1:] < stands_s)]
    hardest = float(steps.max())
    least_s = before / ACCELERATION
    moved = float(np.ptp(stood[times > stands_s + 0.1]))
    return [
        ("speed at the last set, deg/s", f"{before:.2f}", "-", "-"),
        ("from the last set to standing, s", f"{stands_s - last_s:.3f}", f"{least_s:.3f} by its limit", "-"),
        ("hardest deceleration, deg/s2", f"{hardest:.0f}", f"{ACCELERATION:.0f}", yes(hardest <= 1.1 * ACCELERATION)),
        ("moved once it stood, deg", f"{moved:.4f}", "0", yes(moved < 1e-3)),
    ]


def cost_table() -> Table:
    """Return what the output costs in one tick of 16 axes, over a link that takes everything and loses nothing."""
    axes = tuple(
        Axis(name=f"axis{number}", kind="pan", unit="deg", travel=None, speed=60, acceleration=120, jerk=600)
        for number in range(AXES)
    )
    rig = Rig(name="bench", axes=axes)
    clock = Time()
    link = ScriptedLink(clock)
    device = Scripted(clock, link, axes=rig.names)
    output = DeviceOutput(link, rig, Manner(), 0, lambda: clock.now_ns)
    for _ in range(2000):
        clock.now_ns += 1_000_000
        link.carry()
        output.read(clock.now_ns)
        output.look(clock.now_ns)
    output.ask()
    link.hear = lambda packet: None
    position, velocity = np.linspace(-90, 90, AXES), np.linspace(-30, 30, AXES)

    def send() -> None:
        clock.now_ns += 4_000_000
        output.send(Setpoint(clock.now_ns + 300_000_000, position, velocity))
        link.put_at.clear()
        link.carry()

    def read() -> None:
        device.stand(position.tolist(), clock.there_ns)
        clock.now_ns += 1_000_000
        output.read(clock.now_ns)

    rows = [
        (work, f"{us:.1f}", yes(us < 100))
        for work, us in zip(("send a set", "read an answer"), cost_us(send, read), strict=True)
    ]
    return Table(
        f"Device output, {AXES} axes, one tick",
        ("work", "us", "below 100"),
        rows,
        "With the script of the device's other end in it.",
    )


def yes(met: bool) -> str:
    return "yes" if met else "NO"
