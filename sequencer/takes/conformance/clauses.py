"""All clauses that a device is tried by, in their order, and the trial itself. Source: docs/device.md, docs/osc.md."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sequencer.takes.conformance import sets, stops, talk
from sequencer.takes.conformance.bench import Bench, NoAnswer, Waits
from sequencer.takes.conformance.judged import Clause, Judged
from sequencer.takes.conformance.speech import one

_BACK = 0.02  # of the amplitude: what is nearer to where it began needs no way back

CLAUSES = (
    Clause(name="hello", asks="says its version, axes and what it can hold", check=talk.hello),
    Clause(name="time", asks="says its time, which flows evenly", check=talk.time),
    Clause(name="actual", asks="says where its axes stand, 50 times a second", check=talk.actual, plain=True),
    Clause(name="silent", asks="falls silent two seconds after the last packet", check=talk.silent, plain=True),
    Clause(name="ping", asks="brings the number of a ping back", check=talk.ping, plain=True),
    Clause(name="switch", asks="says how its homing switches are", check=talk.switch, plain=True),
    Clause(name="held", asks="says which sets have come", check=sets.acknowledged),
    Clause(name="missing", asks="says which set is missing, and takes it later", check=sets.asked_again),
    Clause(name="full", asks="refuses sets for which it has no room", check=sets.full),
    Clause(name="rate", asks="takes as many sets a second as it says", check=sets.rate),
    Clause(name="due", asks="plays sets when they are due", check=sets.when_due, moves=True),
    Clause(name="between", asks="goes smoothly between sets", check=sets.between, moves=True),
    Clause(name="order", asks="plays sets in the order of their time", check=sets.out_of_order, moves=True),
    Clause(name="twice", asks="takes no number a second time", check=sets.twice, moves=True),
    Clause(name="wrap", asks="counts on from 0 after the last number", check=sets.wraps, moves=True),
    Clause(name="from", asks="takes back what /plan/from replaces", check=sets.replaced, moves=True),
    Clause(name="late", asks="plays a late set only if it is newer", check=sets.late, moves=True),
    Clause(name="limits", asks="keeps its own limits whatever comes", check=stops.limited, moves=True),
    Clause(name="ran out", asks="stops when its buffer runs empty in mid-move", check=stops.ran_out, moves=True),
    Clause(name="rest", asks="does not run out where the plan stands", check=stops.rests, moves=True),
    Clause(name="at once", asks="follows sets without a due time", check=stops.at_once, moves=True, plain=True),
    Clause(name="end", asks="holds when such sets end", check=stops.ends, moves=True, plain=True),
    Clause(name="stop", asks="stops when told, until it is asked", check=stops.stop, moves=True, plain=True),
    Clause(name="here", asks="counts anew at rest only", check=stops.here, moves=True, plain=True),
    Clause(name="version", asks="ignores sets of a version that it does not speak", check=talk.version, moves=True),
    Clause(name="nonsense", asks="is not disturbed by nonsense", check=talk.nonsense, plain=True),
    Clause(name="reset", asks="has not begun anew meanwhile", check=talk.same),
)


@dataclass(frozen=True, slots=True)
class Result:
    """A clause and what it came to."""

    clause: Clause
    judged: Judged


def chosen(schedules: bool, names: Sequence[str] = ()) -> tuple[Clause, ...]:
    """Return the clauses for such a device, those of `names` where any are given; what all need is among them.

    Error: ValueError that lists the names.
    """
    there = tuple(clause for clause in CLAUSES if schedules or clause.plain)
    known = [clause.name for clause in there]
    for name in names:
        if name not in known:
            raise ValueError(f"there is no clause {name!r} for this device; there are {', '.join(known)}")
    return tuple(clause for clause in there if not names or clause.name in names or clause.name == "hello")


def tried(bench: Bench, clauses: Sequence[Clause], tell: Callable[[Result], None]) -> Waits:
    """Try the clauses one by one, and tell of each as it is judged; the rig is stopped at the end.

    Error: NoAnswer where a device without a buffer does not say what axes it has.
    """
    if not bench.schedules:
        yield from bench.learn()
    origin: float | None = None
    for clause in clauses:
        try:
            if clause.moves:
                yield from bench.ready()
                off = bench.start[bench.place] - origin if origin is not None else 0.0
                if abs(off) > _BACK * abs(bench.by):
                    yield from stops.back(bench, off)
                origin = bench.start[bench.place] - off
            judged = yield from clause.check(bench)
        except NoAnswer as fault:
            judged = Judged(False, str(fault))
        tell(Result(clause, judged))
        if judged.kept is False:
            # what it was left doing must not run into the next trial
            bench.say(one("/stop"))
        if clause.name == "hello" and not judged.kept:
            break
    for _ in range(3):
        bench.say(one("/stop"))
        yield 0.02
    yield from bench.sent()
