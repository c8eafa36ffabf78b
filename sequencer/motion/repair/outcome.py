"""What a repair answers: a move that keeps every limit, or why there is none and what would make one.

It refuses a third answer: a solver that fails says so, and which other repair still works.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from sequencer.score.move import Move

# what a repair says that has nothing to do
AS_IT_IS = "nothing asks too much: the move stays as it is"

# told how much is done, in parts of the whole; what it returns says whether to go on
Tell = Callable[[float], bool]


class Cancelled(Exception):
    """The operator no longer wants the answer."""


def unforeseen(tell: Tell | None) -> Callable[[], None]:
    """Return what tells of each step of work that nobody knows the length of: a tenth of what is left is then done.

    Error: Cancelled when `tell` says so.
    """
    left = 1.0

    def step() -> None:
        nonlocal left
        left *= 0.9
        if tell is not None and not tell(1 - left):
            raise Cancelled

    return step


class Unrepaired(ArithmeticError):
    """The arithmetic did not suffice; nothing is known about the motors. The words say what still works."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a set of keys cannot be kept: keys `keys` (their numbers in the track) of `axis`, which stand at `at`.

    `proven` where it holds for every curve there is, not only for those that a repair draws; `words` say it.
    """

    axis: str
    keys: tuple[int, ...]
    at: tuple[Fraction, ...]
    proven: bool
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """A changed move that can be done, for the operator to take or leave; `words` say which keys change by how much."""

    move: Move
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Repaired:
    """A move that keeps every limit of its axes; `words` say what was changed, one line each."""

    move: Move
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Impossible:
    """There is no such move; the smallest changes that make one are offered."""

    reasons: tuple[Reason, ...]
    offers: tuple[Offer, ...] = ()
