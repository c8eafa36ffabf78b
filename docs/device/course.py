"""Where all axes go: along the plan that is held, after a set that came without a due time, or braking.

Time is an argument, in whole nanoseconds; motion is worked out in steps of `step` at most and at every due instant, so
that it makes no difference how often `advance` is called.
"""

import plan


class Course:
    """`deaf`: sets are left aside, as after power-up and after a stop. `ran_out`: the number of the set after which
    the buffer was empty although the plan moved, else None. `played(one, now)` is told of each set as it is played.
    """

    def __init__(self, axes, room, step):
        self.axes = axes
        self.step = step
        self.plan = plan.Plan(room)
        self.played = lambda one, now: None
        self.now = 0
        self.deaf = True
        self.ran_out = None
        self._last = 0  # number of the set that was played last
        self._order = None  # the set that is carried on, without a plan
        self._start = None  # where the present cubic begins: instant, positions, velocities
        self._end = None  # the set to which it leads; None: the plan stands

    def still(self):
        """Whether every axis stands."""
        return not any(axis.velocity for axis in self.axes)

    def stop(self):
        """Forget the plan and brake; sets are left aside from now on."""
        self.deaf = True
        self.ran_out = self._order = self._start = self._end = None
        self.plan.begin()

    def listen(self):
        """Take sets again, where everything stands; take up the count anew where no set is held."""
        if self.deaf and self.still():
            self.deaf, self.ran_out = False, None
            # a set that the link kept back since before the stop would set the rig off
            self.plan.begin(self.now - 1)
        elif not self.plan.sets:
            self.plan.begin()

    def rest(self):
        """Stand where the axes stand, whatever was planned: they count anew."""
        self._order = self._start = self._end = None

    def take(self, one, from_ns, now):
        """Take a numbered set in."""
        self.plan.take(one, from_ns, now)

    def take_plain(self, values, now):
        """Carry on a set without a number from now; return whether it counts: not while others are held."""
        if self.plan.sets:
            return False
        self._order, self._start, self._end = plan.Set(-1, now, values, False), None, None
        return True

    def wakes(self):
        """Return the instant at which `advance` is wanted next."""
        at = self.now + self.step
        return max(min(at, self.plan.sets[0].due), self.now) if self.plan.sets else at

    def advance(self, now):
        """Let time pass until `now`: play what is due, and move."""
        self._play(now)
        while self.now < now:
            until = min(now, self.wakes())
            self._move((until - self.now) * 1e-9, until)
            self._play(now)

    def _play(self, now):
        one = self.plan.play(self.now)
        while one is not None:
            self.played(one, now)
            self._last = one.number
            axes = len(self.axes)
            if one.scheduled:
                self._start = (one.due, one.values[:axes], one.values[axes:])
                self._end = self._reach(one.due)
                self._order = None
            else:
                self._order, self._start, self._end = one, None, None
            one = self.plan.play(self.now)
        self._lead()

    def _reach(self, since):
        """Return the set to which the plan leads from the instant `since`, None where it is too far."""
        sets = self.plan.sets
        return sets[0] if sets and sets[0].due - since <= plan.FURTHEST_APART else None

    def _lead(self):
        """See to where the plan leads, where sets came between or were taken back; stop where it leads nowhere."""
        if self._start is None:
            return
        kept = self._end is not None and self.plan.sets and self.plan.sets[0] is self._end
        if not kept:
            end = self._reach(max(self._start[0], self.now))
            if end is not self._end or (end is not None and self._start[0] < self.now):
                if self._start[0] < self.now:
                    self._start = self._planned(self.now)
                self._end = end
        if self._end is None and any(
            axis.moving(velocity)
            for axis, velocity in zip(self.axes, self._start[2])  # noqa: B905  # MicroPython's zip knows no `strict`
        ):
            self.stop()
            self.ran_out = self._last

    def _planned(self, at):
        """Return the instant `at` with the positions and velocities that the plan says for it."""
        since, positions, velocities = self._start
        if self._end is None:
            return at, positions, velocities
        axes = len(self.axes)
        said = [
            plan.between(since, positions[place], velocities[place], self._end, place, axes, at)
            for place in range(axes)
        ]
        return at, [one[0] for one in said], [one[1] for one in said]

    def _move(self, dt, until):
        self.now = until
        if self._start is not None:
            _, positions, velocities = self._planned(until)
            for place, axis in enumerate(self.axes):
                axis.follow(positions[place], velocities[place] if self._end else 0.0, dt)
        elif self._order is not None and until - self._order.due <= plan.CARRY:
            since = (until - self._order.due) * 1e-9
            for place, axis in enumerate(self.axes):
                speed = self._order.values[len(self.axes) + place]
                axis.follow(self._order.values[place] + speed * since, speed, dt)
        else:
            self._order = None
            for axis in self.axes:
                axis.brake(dt)
