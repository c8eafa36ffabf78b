"""Which number each pad has: by the order in which pads came, and the same again for one that comes back."""

from dataclasses import dataclass

MOST = 256  # as many as the number of a row can tell


@dataclass(frozen=True, slots=True)
class Identity:
    """What tells pads apart: `model` is all that two of a kind share; `serial` and `place` are empty where unknown."""

    model: str
    serial: str = ""
    place: str = ""


class Seats:
    """The numbers of pads that are here, and of those that were."""

    def __init__(self) -> None:
        self._known: dict[int, Identity] = {}
        self._here: set[int] = set()

    def take(self, pad: Identity) -> tuple[int, bool] | None:
        """Return the number of a pad that has come, and whether it has come back; None where all numbers are taken.

        Its old number is that of a pad of its model and serial that is away: the one from the same place, else the
        first, since the place changes with the socket that it is plugged into.
        """
        away = [number for number in self._known if number not in self._here]
        fitting = [number for number in away if _may_be(self._known[number], pad)]
        fitting.sort(key=lambda number: self._known[number].place != pad.place)
        number = fitting[0] if fitting else len(self._known)
        if number >= MOST:
            # numbers of pads that are long away are the only ones left
            if not away:
                return None
            number = away[0]
            del self._known[number]
        self._known[number] = pad
        self._here.add(number)
        return number, bool(fitting)

    def leave(self, number: int) -> None:
        """Have the pad of that number away."""
        self._here.discard(number)


def _may_be(before: Identity, now: Identity) -> bool:
    return before.model == now.model and before.serial == now.serial
