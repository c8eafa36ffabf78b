"""Opens the link to a rig that speaks OSC, by whatever its address says."""

from contextlib import AbstractContextManager

from sequencer.adapters.osc_links.link import PacketLink
from sequencer.adapters.osc_links.place import Place
from sequencer.adapters.osc_links.serial import open_serial
from sequencer.adapters.osc_links.tcp import open_tcp
from sequencer.adapters.osc_links.udp import open_udp


def open_link(place: Place) -> AbstractContextManager[PacketLink]:
    """Open the link. The first call for an address may take some seconds, later ones do not wait.

    Error: LinkError that says why not, and the mend.
    """
    match place.transport:
        case "udp":
            return open_udp(place.host, place.port)
        case "tcp":
            return open_tcp(place.host, place.port)
        case "serial":
            return open_serial(place.path, place.baud)
