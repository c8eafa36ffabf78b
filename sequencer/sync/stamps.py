"""Running sums over stamped ticks, from which the line through any number of the newest follows at once.

It fits nothing and judges nothing. A tick is any evenly spaced event of a clock: a quarter frame, an audio block.
"""

_RENEW_AT = 2048  # stamps; sums about an origin far behind lose digits, so a new origin is taken
_KEEP = 1024  # stamps the new origin must have before it takes over: the longest memory

Sums = tuple[float, float, float, float]


class Stamps:
    """Prefix sums of x, x^2, y and xy: x in ticks from an origin, y in seconds off the nominal line through it.

    Unit: `gap_s` nominal seconds a tick. The newest `w` stamps have the sums `sums[-1] - sums[-1 - w]`.
    """

    __slots__ = ("_gap_s", "_next", "in_a_row", "n0", "sums", "t0", "x")

    def __init__(self, gap_s: float, n: int, t_s: float) -> None:
        self._gap_s = gap_s
        self.n0, self.t0 = n, t_s
        self.x = -1.0
        self.in_a_row = 0  # newest stamps without a tick missing
        self.sums: list[Sums] = [(0.0, 0.0, 0.0, 0.0)]
        self._next: Stamps | None = None

    def push(self, n: int, t_s: float) -> None:
        """Add the stamp `t_s` of tick `n`."""
        x = float(n - self.n0)
        y = t_s - self.t0 - x * self._gap_s
        sx, sxx, sy, sxy = self.sums[-1]
        self.in_a_row = self.in_a_row + 1 if x == self.x + 1 else 1
        self.x = x
        self.sums.append((sx + x, sxx + x * x, sy + y, sxy + x * y))
        if self._next is not None:
            self._next.push(n, t_s)
            if len(self._next.sums) > _KEEP:
                self.n0, self.t0, self.x, self.sums = self._next.n0, self._next.t0, self._next.x, self._next.sums
                self._next = None
        elif len(self.sums) > _RENEW_AT:
            # filled beside this one until it can take over, so that no single stamp pays for all
            self._next = Stamps(self._gap_s, n, t_s)
            self._next.push(n, t_s)
