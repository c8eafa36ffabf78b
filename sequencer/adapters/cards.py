"""The network interfaces of this machine, with their addresses as they are now."""

from ipaddress import ip_address

from sequencer.adapters.listening import Address
from sequencer.errors import LinkError


def cards() -> dict[str, tuple[Address, ...]]:
    """Return the IP addresses of each interface by its name, without scopes. Error: LinkError where none can be had."""
    import psutil  # only who opens an interface waits for it

    try:
        there = psutil.net_if_addrs()
    except OSError as fault:
        raise LinkError(f"the network interfaces cannot be listed: {fault.strerror}; name an address") from fault
    return {name: tuple(found for one in listed for found in _ip(one.address)) for name, listed in there.items()}


def _ip(text: str) -> tuple[Address, ...]:
    """Return the address, or nothing for one of another kind: hardware has addresses too."""
    try:
        return (ip_address(text.partition("%")[0]),)
    except ValueError:
        return ()
