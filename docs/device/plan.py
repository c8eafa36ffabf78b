"""The buffer of setpoint sets: which are held, which numbers have come, and what the plan says for an instant.

Order of numbers is order of time: a set makes all older ones void that are due at its instant or later.
Time is whole nanoseconds of the device's clock.
"""

WRAP = 1 << 31
FURTHEST_APART = 500_000_000  # ns: sets further apart are not joined, the plan ends with the first of them
CARRY = 250_000_000  # ns: how long a set that came without a due time is carried on


def ahead(number, other):
    """Return by how much `number` comes after `other`, below zero where it comes before."""
    return (number - other + WRAP // 2) % WRAP - WRAP // 2


class Set:
    """One setpoint set. `scheduled`: it came with the instant at which it is due."""

    def __init__(self, number, due, values, scheduled=True):
        self.number = number
        self.due = due
        self.values = values
        self.scheduled = scheduled


class Plan:
    """`late` counts sets that came after their due time, `refused` those for which there was no room.

    What is due at `floor` or before is never played: it is older than what was, or was on its way since before a stop.
    """

    def __init__(self, room):
        self.room = room
        self.late = 0
        self.refused = 0
        self.floor = -1
        self.begin()

    def begin(self, since=-1):
        """Forget all sets, and take up the count with whatever number comes next that is due after `since`."""
        self.floor = max(self.floor, since)
        self.sets = []
        self.played = None  # the set that was played last, since the count began
        self.first = None
        self._seen = set()
        self._from = None

    def take(self, one, from_ns, now):
        """Take a set in, or leave it; whether it counts as received is seen in `held`."""
        number = one.number
        if self.first is None:
            if one.due <= self.floor:
                return
            self.first = number
        if number in self._seen or self._past(number):
            return
        if from_ns is not None and (self._from is None or ahead(number, self._from[0]) > 0):
            self._from = (number, from_ns)
            self.sets = [held for held in self.sets if held.due < from_ns or ahead(held.number, number) > 0]
        at = self._place(one)
        if at is None or one.due <= self.floor:
            pass  # void, or older than what is played: it has come, and is of no use
        elif len(self.sets) >= self.room and at == len(self.sets):
            self.refused += 1
            return
        else:
            self._put(one, at)
            self.late += one.due < now
        self._seen.add(number)
        self._count_on()
        if len(self._seen) > 2 * self.room + 128:
            # void sets are never played: those that came long ago are forgotten
            self._seen = {other for other in self._seen if ahead(other, self.first) >= -self.room}

    def _count_on(self):
        while self.first in self._seen:
            self.first = (self.first + 1) % WRAP

    def _past(self, number):
        """Whether a number is that of the set that is played, or lies before it."""
        return self.played is not None and ahead(number, self.played.number) <= 0

    def _place(self, one):
        """Return where a set belongs among those held, None where a newer one makes it void."""
        if self._from is not None and one.due >= self._from[1] and ahead(one.number, self._from[0]) < 0:
            return None
        at = len(self.sets)
        while at and self.sets[at - 1].due > one.due:
            at -= 1
        if at and ahead(self.sets[at - 1].number, one.number) > 0:
            return None
        return at

    def _put(self, one, at):
        while at < len(self.sets) and ahead(self.sets[at].number, one.number) < 0:
            del self.sets[at]
        if at and self.sets[at - 1].due == one.due:
            at -= 1
            del self.sets[at]
        self.sets.insert(at, one)
        if len(self.sets) > self.room:
            # a gap was filled where there was no room left: the furthest set goes, and is asked for again
            gone = self.sets.pop()
            self._seen.discard(gone.number)
            if ahead(gone.number, self.first) < 0:
                self.first = gone.number

    def play(self, now):
        """Return the next set that is due by `now`, as played; None where there is none."""
        if not self.sets or self.sets[0].due > now:
            return None
        self.played = self.sets.pop(0)
        self.floor = self.played.due
        after = (self.played.number + 1) % WRAP
        if ahead(after, self.first) > 0:
            self.first = after
        self._seen.discard(self.played.number)
        if len(self._seen) > self.room + 64:
            # void sets are never played: what lies before the plan is forgotten now and then
            self._seen = {number for number in self._seen if ahead(number, after) >= 0}
        self._count_on()
        return self.played

    def held(self):
        """Return how many sets are held, the first number that has not come, and which of the 64 after it have."""
        mask = 0
        for number in self._seen:
            bit = ahead(number, self.first) - 1
            if 0 <= bit < 64:
                mask |= 1 << bit
        return len(self.sets), self.first, mask


def between(start, position, velocity, one, place, axes, now):
    """Return position and velocity of an axis at `now`, on the cubic that leads from `start` to the set `one`.

    Source: the cubic Hermite form, as in any textbook of numerical analysis.
    """
    lasts = (one.due - start) * 1e-9
    u = (now - start) * 1e-9 / lasts
    way = one.values[place] - position
    leaves, comes = velocity * lasts, one.values[axes + place] * lasts
    square = 3 * way - 2 * leaves - comes
    cube = leaves + comes - 2 * way
    return position + u * (leaves + u * (square + u * cube)), (leaves + u * (2 * square + 3 * u * cube)) / lasts
