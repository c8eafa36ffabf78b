"""The machine's own zone, beside the time zone database's."""

import os
import random
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from sequencer.score.timelapse import Start
from sequencer.shell.machine_zone import MachineZone, now
from sequencer.shell.spread import begins

pytestmark = pytest.mark.skipif(not hasattr(time, "tzset"), reason="the system sets its zone for all programs")


@pytest.fixture(params=["Europe/Amsterdam", "America/Havana", "Australia/Lord_Howe", "Asia/Kolkata"])
def place(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    monkeypatch.setenv("TZ", request.param)
    time.tzset()
    yield request.param
    monkeypatch.undo()
    time.tzset()


def test_it_is_the_databases_zone_on_any_day(place: str) -> None:
    """Source: the IANA time zone database; Havana changes at midnight, Lord Howe by half an hour."""
    chance, own, other = random.Random(1), MachineZone(), ZoneInfo(place)
    for _ in range(5_000):
        at = datetime(2015, 1, 1, tzinfo=UTC) + timedelta(seconds=chance.randrange(15 * 366 * 86_400))
        here, there = at.astimezone(own), at.astimezone(other)
        assert (here.replace(tzinfo=None), here.fold, here.tzname()) == (
            there.replace(tzinfo=None),
            there.fold,
            there.tzname(),
        )
        assert here.timestamp() == at.timestamp()
        wall = there.replace(tzinfo=None)
        assert wall.replace(tzinfo=own).utcoffset() == wall.replace(tzinfo=other).utcoffset()


@pytest.mark.parametrize("place", ["Europe/Amsterdam"], indirect=True)
def test_a_start_tomorrow_is_by_tomorrows_clocks(place: str) -> None:
    """Source: clocks of the European Union go back at 01:00 UTC on the last Sunday of October (2000/84/EC)."""
    assert os.environ["TZ"] == place
    evening = datetime(2026, 10, 24, 20, tzinfo=MachineZone())
    assert begins(Start(at="05:40"), evening) == datetime(2026, 10, 25, 4, 40, tzinfo=UTC)
    assert abs(now() - datetime.now(UTC)) < timedelta(minutes=1)
