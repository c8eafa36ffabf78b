"""The machine's own time zone, with its summer time; `datetime` itself has only today's distance from UTC."""

from datetime import UTC, datetime, timedelta, tzinfo


class MachineZone(tzinfo):
    """The zone that the system is set to, on any day."""

    def utcoffset(self, at: datetime | None) -> timedelta | None:
        return None if at is None else _local(at).utcoffset()

    def dst(self, at: datetime | None) -> timedelta | None:
        """Return nothing: the system tells only the whole distance from UTC."""
        return None

    def tzname(self, at: datetime | None) -> str | None:
        return None if at is None else _local(at).tzname()

    def fromutc(self, at: datetime) -> datetime:
        there = at.replace(tzinfo=UTC).astimezone()
        here = there.replace(tzinfo=self)
        return here if here.utcoffset() == there.utcoffset() else here.replace(fold=1)


def _local(at: datetime) -> datetime:
    """Return the instant that this is on a clock of this machine's; in a doubled hour `fold` says which."""
    return at.replace(tzinfo=None).astimezone()


def now() -> datetime:
    """Return the time by the system's clock, in this machine's zone."""
    return datetime.now(MachineZone())
