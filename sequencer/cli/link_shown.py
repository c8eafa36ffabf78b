"""How the link to the rig is shown in the terminal: each change in words, and the bell where it drops or is back."""

from rich.console import Console

from sequencer.shell.messages import Status


class LinkShown:
    """Tells changes; `look` at every status."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._was: str | None = None

    def look(self, status: Status | None) -> None:
        if status is None or status.link == self._was:
            return
        was, self._was = self._was, status.link
        if was is None:
            return
        if "down" in (was, status.link) and self._console.is_terminal:
            self._console.bell()
        self._console.print(_changed(status), markup=False, highlight=False)


def _changed(status: Status) -> str:
    match status.link:
        case "down":
            return "the link to the rig is down; nothing is sent until it is back and you have reset"
        case "up":
            return f"the link to the rig is up, {link_words(status)}"
    return "the rig does not answer, so how the link to it is cannot be known"


def link_words(status: Status) -> str:
    """Say how the link is: `round trip 12 ms, 5 % lost`."""
    if status.link == "down":
        return f"no answer for {status.silent_s:.0f} s"
    trip = "unknown" if status.round_trip_s is None else f"{status.round_trip_s * 1e3:.0f} ms"
    lost = "loss unknown" if status.lost_part is None else f"{status.lost_part:.0%} lost"
    return f"round trip {trip}, {lost}"
