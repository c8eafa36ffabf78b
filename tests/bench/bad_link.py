"""A link that delays, loses and breaks off: a process that carries datagrams between a host and a device on 127.0.0.1.

`python -m tests.bench.bad_link DEVICE_PORT SEED` prints the port for the host as JSON, and obeys lines on its standard
input: `good`, `bad` (60 ms and 50 ms more or less, spread evenly, 3 percent lost, both ways, each packet by itself) and
`out` (all lost). It says what it was told, and ends with its input.
"""

import contextlib
import heapq
import json
import random
import select
import socket
import sys
import time

DELAY_S, JITTER_S, LOSS = 0.060, 0.050, 0.03
_SPIN_S = 0.0002


class Way:
    """Packets on their way in one direction, each with its own delay."""

    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._under_way: list[tuple[float, int, bytes]] = []
        self._count = 0

    def enter(self, packet: bytes, now_s: float, state: str) -> None:
        lost = state == "out" or (state == "bad" and self._chance.random() < LOSS)
        if not lost:
            delay_s = self._chance.uniform(DELAY_S - JITTER_S, DELAY_S + JITTER_S) if state == "bad" else 0.0
            self._count += 1
            heapq.heappush(self._under_way, (now_s + delay_s, self._count, packet))

    def leave(self, now_s: float) -> list[bytes]:
        out = []
        while self._under_way and self._under_way[0][0] <= now_s:
            out.append(heapq.heappop(self._under_way)[2])
        return out

    @property
    def next_s(self) -> float:
        return self._under_way[0][0] if self._under_way else float("inf")


def carry(device_port: int, seed: int) -> None:
    chance = random.Random(seed)
    out, back = Way(chance), Way(chance)
    state, host = "good", None
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as near,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as far,
    ):
        near.bind(("127.0.0.1", 0))
        far.connect(("127.0.0.1", device_port))
        near.setblocking(False)
        far.setblocking(False)
        print(json.dumps({"port": near.getsockname()[1]}), flush=True)
        while True:
            wait_s = min(out.next_s, back.next_s) - time.monotonic()
            # select() waits to the microsecond, epoll to the next millisecond
            ready, _, _ = select.select([near, far, sys.stdin], [], [], min(max(0.0, wait_s - _SPIN_S), 1.0))
            for one in ready:
                now_s = time.monotonic()
                if one not in (near, far):
                    said = sys.stdin.readline().strip()
                    if not said:
                        return
                    state = said
                    print(state, flush=True)
                elif one is near:
                    packet, host = near.recvfrom(65_535)
                    out.enter(packet, now_s, state)
                else:
                    with contextlib.suppress(ConnectionError):
                        back.enter(far.recv(65_535), now_s, state)
            now_s = time.monotonic()
            for packet in out.leave(now_s):
                with contextlib.suppress(ConnectionError):
                    far.send(packet)
            if host is not None:
                for packet in back.leave(now_s):
                    near.sendto(packet, host)


if __name__ == "__main__":
    carry(int(sys.argv[1]), int(sys.argv[2]))
