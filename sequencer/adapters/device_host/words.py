"""What the operator is told of a device, each with the mend."""

from collections.abc import Sequence

_SLIGHT_S = 0.05  # a step that a fault of a clock can look like


def silent(where: str) -> str:
    """Return what to say before the device has answered."""
    return f"no device has answered at {where} yet; switch it on, or correct the address"


def absent(where: str, waited_s: float) -> str:
    """Return why the link cannot be opened where nobody answers."""
    return (
        f"no device answers at {where} within {waited_s:g} s; switch it on, correct the address, or take osc for a rig "
        "that does not speak the device protocol"
    )


def garbage(where: str) -> str:
    """Return what to say where nothing that comes can be read."""
    return f"what comes from {where} is nothing that a device says; check the address, and a serial port's baud"


def unsure(where: str) -> str:
    """Return what to say while sets are withheld."""
    return f"the clock of the device at {where} is not known well enough yet; no setpoints go out until it is"


def stands(where: str) -> str:
    """Return what to say of a device that stopped since it ran out."""
    return f"the device at {where} ran out of setpoints and has stopped; it listens again after Reset"


def low(where: str, ahead_s: float, hz: float, part: float) -> str:
    """Return what to say of a buffer that holds less than `part` of what is sent ahead."""
    whole = ahead_s * hz
    return (
        f"the device at {where} holds fewer than {part * whole:.0f} setpoint sets, where {whole:.0f} are sent ahead; "
        f"the link is slow or loses much: take a longer ahead than {ahead_s:g} s, or a lower rate_hz"
    )


def rough(where: str, error_s: float) -> str:
    """Return how well the device's clock is known, in steps, or nothing where that is within a millisecond."""
    for most_ms in (1, 2, 5):
        if error_s <= most_ms * 1e-3:
            return "" if most_ms == 1 else f"the clock of the device at {where} is known to {most_ms} ms so far"
    return ""


def ran_out(where: str) -> str:
    """Return why the link is given up where the buffer ran empty in mid-move."""
    return (
        f"the device at {where} ran out of setpoints in mid-move and has stopped by its own means; look after the "
        "link, or take a longer ahead. Nothing moves before Reset"
    )


def version(where: str, name: str, theirs: int, ours: int) -> str:
    """Return why a device of another version is refused."""
    return (
        f"the device {name!r} at {where} speaks version {theirs} of the device protocol, and here version {ours} is "
        f"spoken; bring its program or this one up to date"
    )


def axes(where: str, name: str, missing: Sequence[str], there: Sequence[str]) -> str:
    """Return why a device without an axis of ours is refused."""
    return (
        f"the device {name!r} at {where} has no axis {', '.join(missing)}; it has {', '.join(there) or 'none'}. "
        "Name the axes of this output as the device does"
    )


def reset(where: str, name: str) -> str:
    """Return why the link is given up where the device began anew."""
    return (
        f"the device {name!r} at {where} was reset and has forgotten its setpoints; look after its power. Its axes may "
        "count from elsewhere now: look, and home them. Nothing moves before Reset"
    )


def jumped(where: str, by_s: float) -> str:
    """Return why the link is given up where the device's clock jumped."""
    if abs(by_s) < _SLIGHT_S:
        why = "A clock without a crystal looks like that too"
    else:
        why = "So it does after a reset, and where this machine slept"
    return (
        f"the clock of the device at {where} jumped by {by_s:+.3f} s; it was told to stop. {why}. Look after its "
        "power, and where its axes stand. Nothing moves before Reset"
    )


def too_fast(where: str, name: str, hz: float, most_hz: int) -> str:
    """Return why more sets a second than the device takes are refused."""
    return (
        f"{hz:.0f} setpoint sets a second come for the device {name!r} at {where}, which takes {most_hz} at most; set "
        f"rate_hz of this output to {most_hz} or less"
    )


def too_far(where: str, name: str, hz: float, ahead_s: float, room: int) -> str:
    """Return why more sets than the device holds are refused."""
    return (
        f"{hz * ahead_s:.0f} setpoint sets are on their way to the device {name!r} at {where} ({hz:.0f} a second, "
        f"{ahead_s:g} s ahead), which holds {room}; take ahead={room / hz * 0.9:.2f} or a lower rate_hz"
    )
