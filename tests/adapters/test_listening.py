"""Where a port listens and who may speak to it, as an operator writes it, on machines that are only described."""

from ipaddress import ip_address

import pytest

from sequencer.adapters.cards import cards
from sequencer.adapters.listening import Door, Speakers, example, others, placed, read
from sequencer.errors import LinkError

# addresses for documentation: RFC 5737, RFC 3849
MACHINE = {
    name: tuple(map(ip_address, has))
    for name, has in {
        "lo": ("127.0.0.1", "::1"),
        "quay0": ("192.0.2.7", "fe80::7", "2001:db8::7"),
        "deck 2": ("198.51.100.7",),
        "two": ("203.0.113.1", "203.0.113.2", "2001:db8:1::1", "2001:db8:1::2"),
        "near": ("fe80::7",),
        "down": (),
    }.items()
}


def door(text: str) -> Door:
    return placed(read(text), MACHINE)


@pytest.mark.parametrize(
    ("text", "host"),
    [
        ("osc:9001", "127.0.0.1"),
        ("osc:0", "127.0.0.1"),
        ("osc:localhost:9001", "127.0.0.1"),
        ("osc:127.0.0.1:9001", "127.0.0.1"),
        ("osc:127.0.0.5:9001", "127.0.0.5"),
        ("osc:[::1]:9001", "::1"),
        ("osc:lo:9001", "127.0.0.1"),
    ],
)
def test_this_machine_is_heard_without_a_word_on_who_may_speak(text: str, host: str) -> None:
    there = door(text)
    assert (str(there.host), there.card, there.wanted.speakers) == (host, "", ())
    assert there.address(there.wanted.port) == text
    with pytest.raises(LinkError, match=r"listens to this machine only.*leave from= out.*osc:INTERFACE:"):
        door(f"{text}?from=192.0.2.20")


@pytest.mark.parametrize(
    ("text", "host", "card", "written"),
    [
        ("osc:quay0:9001?from=192.0.2.20", "192.0.2.7", "quay0", ""),
        ("osc:192.0.2.7:9001?from=192.0.2.20", "192.0.2.7", "quay0", ""),
        ("osc:deck 2:9001?from=198.51.100.0/24, 192.0.2.20", "198.51.100.7", "deck 2", ""),
        ("osc:quay0:9001?from=2001:db8::20,2001:db8:5::/64", "2001:db8::7", "quay0", ""),
        ("osc:[2001:db8::7]:9001?from=2001:db8::20", "2001:db8::7", "quay0", ""),
        ("osc:quay0:9001?from=fe80::20", "fe80::7", "quay0", ""),
        ("osc:[fe80::7%near]:9001?from=fe80::20", "fe80::7", "near", ""),
        ("osc:two:9001?from=192.0.2.20", "", "", "203.0.113.1, 203.0.113.2"),
        ("osc:203.0.113.2:9001?from=192.0.2.20", "203.0.113.2", "two", ""),
        ("osc:quay0:9001?from=10.0.0.0/8", "192.0.2.7", "quay0", ""),
    ],
)
def test_an_interface_is_the_one_address_that_those_who_may_speak_can_reach(
    text: str, host: str, card: str, written: str
) -> None:
    if not host:
        with pytest.raises(LinkError, match=f"several such addresses; name one in its place: {written}"):
            door(text)
        return
    there = door(text)
    assert (str(there.host), there.card) == (host, card)
    assert there.address(9001) == text.replace(", ", ",")
    assert placed(read(there.address(9001)), MACHINE).host == there.host


@pytest.mark.parametrize("text", ["osc:quay0:9001", "osc:192.0.2.7:9001", "osc:[2001:db8::7]:9001"])
def test_without_a_word_on_who_may_speak_other_machines_are_not_heard(text: str) -> None:
    with pytest.raises(LinkError) as fault:
        door(text)
    mend = f"{text}?from=ADDRESS[,ADDRESS...]"
    assert str(fault.value) == f"{text!r} would hear other machines; say which ones may speak: {mend}"


@pytest.mark.parametrize("every", ["0.0.0.0", "[::]"])
@pytest.mark.parametrize("who", ["", "?from=192.0.2.20", "?from=2001:db8::20"])
def test_every_network_is_refused_with_those_there_are(every: str, who: str) -> None:
    with pytest.raises(LinkError) as fault:
        door(f"osc:{every}:9001{who}")
    words = str(fault.value)
    assert "would listen to every network; name one, and who may speak: osc:INTERFACE:9001?from=ADDRESS" in words
    assert "quay0 (192.0.2.7, fe80::7, 2001:db8::7); deck 2 (198.51.100.7)" in words
    assert "lo (" not in words
    assert "down" not in words


@pytest.mark.parametrize(
    ("speakers", "why"),
    [
        ("0.0.0.0/0", "nearly everybody"),
        ("::/0", "nearly everybody"),
        ("10.0.0.0/7", "nearly everybody"),
        ("2000::/3", "nearly everybody"),
        ("192.0.2.20,0.0.0.0/1,128.0.0.0/1", "nearly everybody"),
        ("192.0.2.20/24", "two things; write 192.0.2.0/24 for that network, 192.0.2.20 for that"),
        ("", "names nobody after from=; write the address"),
        ("192.0.2.20,", "names nobody after from="),
        ("quay.local", "'quay.local' after from= is no IP address"),
        ("fe80::20%quay0", "stands before the port, so write fe80::20$"),
        ("127.0.0.1", "is this machine.*osc:PORT"),
        ("::1", "is this machine"),
        ("239.255.0.1", "no machine sends from"),
        ("0.0.0.0", "no machine sends from"),
        ("192.0.2.20,2001:db8::20", "addresses of two kinds"),
        ("fe80::20,2001:db8::20", "addresses of two kinds"),
    ],
)
def test_who_may_speak_is_named(speakers: str, why: str) -> None:
    with pytest.raises(LinkError, match=why):
        door(f"osc:quay0:9001?from={speakers}")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("osc:down:9001?from=192.0.2.20", "down has no IPv4 address.*it has none. Connect it"),
        ("osc:deck 2:9001?from=2001:db8::20", "deck 2 has no IPv6 address.*it has 198.51.100.7"),
        ("osc:deck 2:9001?from=fe80::20", "deck 2 has no link-local IPv6 address"),
        ("osc:192.0.2.7:9001?from=2001:db8::20", "192.0.2.7 is another kind of address than IPv6, which"),
        ("osc:deck:9001?from=192.0.2.20", "no network interface of this machine. Its interfaces: quay0"),
        ("osc:stage.local:9001?from=192.0.2.20", "no network interface of this machine"),
        ("osc:[127.0.0.1]:9001", "no network interface of this machine"),
        ("osc:192.0.2.8:9001?from=192.0.2.20", "no address of this machine. Its interfaces: quay0"),
        ("osc:[fe80::7%deck 2]:9001?from=fe80::20", "no address of this machine"),
        ("osc:[fe80::7]:9001?from=fe80::20", r"quay0 and near both have it; write \[fe80::7%quay0\]"),
    ],
)
def test_a_place_that_is_none_here_says_what_there_is(text: str, why: str) -> None:
    with pytest.raises(LinkError, match=why):
        door(text)


def test_a_machine_without_a_network_says_so() -> None:
    with pytest.raises(LinkError, match="It has no network now"):
        placed(read("osc:quay0:9001?from=192.0.2.20"), {"lo": MACHINE["lo"]})


@pytest.mark.parametrize(
    "text",
    [
        "osc:",
        "osc:nine",
        "osc:65536",
        "osc:-1",
        "osc::9001",
        "osc:127.0.0.1",
        "osc:::1:9001",
        "osc:[::1:9001",
        "osc:fe80::7:9001?from=fe80::20",
        "osc://127.0.0.1:9001",
        "osc:\u0663",
        "osc:9001?",
        "osc:quay0:9001?for=192.0.2.20",
        "osc:" + "9" * 5_000,
    ],
)
def test_what_cannot_be_read_says_how_it_is_written(text: str) -> None:
    with pytest.raises(LinkError, match=r"write osc:9001 for this machine, or osc:INTERFACE:9001\?from=ADDRESS"):
        read(text)


@pytest.mark.parametrize(
    ("sender", "may"),
    [
        ("192.0.2.20", True),
        ("192.0.2.21", False),
        ("198.51.100.255", True),
        ("198.51.101.0", False),
        ("2001:db8::20", True),
        ("2001:db8::20%quay0", True),
        ("2001:db8::21", False),
        ("::ffff:192.0.2.20", False),
        ("127.0.0.1", False),
        ("", False),
        ("quay.local", False),
    ],
)
def test_only_those_that_are_named_may_speak(sender: str, may: bool) -> None:
    networks = read("osc:quay0:9001?from=192.0.2.20,198.51.100.0/24,2001:db8::20").speakers
    speakers = Speakers(networks)
    assert [speakers.may(sender), speakers.may(sender)] == [may, may]
    assert not Speakers(()).may(sender)


def test_the_interfaces_that_lead_to_others_are_those_with_an_address_of_theirs() -> None:
    assert list(others(MACHINE)) == ["quay0", "deck 2", "two", "near"]
    assert example("osc", 9001, "quay0") == "osc:quay0:9001?from=ADDRESS"


def test_this_machine_has_itself() -> None:
    here = [address for has in cards().values() for address in has]
    assert ip_address("127.0.0.1") in here
