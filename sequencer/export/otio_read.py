"""A process of its own that has OpenTimelineIO's library read a timeline: what ends the library ends nothing else.

It gets a `Question` on its standard input and gives an `Answer` on its standard output, both as MessagePack.
"""

import sys
from fractions import Fraction

import msgspec

from sequencer.errors import ImportFault
from sequencer.export.edit_list import printable
from sequencer.export.found import FoundCut, FoundMarker, FoundShot
from sequencer.export.memory import bound
from sequencer.timebase.rate import Rate, parse_rate


class Question(msgspec.Struct, frozen=True):
    """The timeline's text, the name of its file, and the rate that the operator says."""

    text: str
    name: str
    rate: str | None


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """What was found, instants as exact fractions in text; or the `fault` that there is."""

    fault: str = ""
    rate: str | None = None
    start: str | None = None
    markers: tuple[tuple[str, str, str], ...] = ()
    shots: tuple[tuple[str, str, str, str], ...] = ()
    remarks: tuple[str, ...] = ()


def asked(text: str, name: str, rate: Rate | None) -> bytes:
    """Return the question."""
    return msgspec.msgpack.encode(Question(text, name, None if rate is None else str(rate)))


def told(data: bytes) -> FoundCut:
    """Return what an answer says. Error: ImportFault where it is one, or where it is no answer."""
    try:
        answer = msgspec.msgpack.decode(data, type=Answer)
        if answer.fault:
            raise ImportFault(printable(answer.fault))
        shots = tuple(
            FoundShot(printable(name), Fraction(at), Fraction(to), printable(note))
            for name, at, to, note in answer.shots
        )
        if any(one.end < one.start for one in shots):
            raise ImportFault(
                "what was read of the timeline cannot be used: a shot ends before it begins; export it again"
            )
        return FoundCut(
            rate=None if answer.rate is None else parse_rate(answer.rate),
            start=None if answer.start is None else Fraction(answer.start),
            markers=tuple(
                FoundMarker(printable(name), Fraction(at), printable(note)) for name, at, note in answer.markers
            ),
            shots=shots,
            remarks=tuple(map(printable, answer.remarks)),
        )
    except (msgspec.MsgspecError, ValueError, ArithmeticError) as fault:
        raise ImportFault(f"what was read of the timeline cannot be used: {fault}; export it again") from fault


def main() -> None:
    """Answer one question."""
    bound()
    sys.stdout.buffer.write(read(sys.stdin.buffer.read()))


def read(data: bytes) -> bytes:
    """Return the answer to a question, in this process."""
    from sequencer.export.imports.otio import followed

    question = msgspec.msgpack.decode(data, type=Question)
    try:
        found = followed(question.text, question.name, None if question.rate is None else parse_rate(question.rate))
        answer = Answer(
            rate=None if found.rate is None else str(found.rate),
            start=None if found.start is None else str(found.start),
            markers=tuple((one.name, str(one.at), one.note) for one in found.markers),
            shots=tuple((one.name, str(one.start), str(one.end), one.note) for one in found.shots),
            remarks=found.remarks,
        )
    except ImportFault as fault:
        answer = Answer(fault=str(fault))
    return msgspec.msgpack.encode(answer)


if __name__ == "__main__":
    main()
