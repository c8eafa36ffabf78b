"""What the Linux kernel tells of pads, in a folder laid out as its own.

Source: Linux, drivers/input/input.c (name, phys, uniq) and joydev.c (js0 beside event0), from memory.
"""

import os
from pathlib import Path

import pytest

from sequencer.adapters.controllers import sdl
from sequencer.adapters.controllers.sdl import open_pads
from sequencer.adapters.pad_ports.kernel import serial_and_socket, shut_out

S = 1_000_000_000


def plug(folder: Path, number: int, name: str, uniq: str = "", phys: str = "") -> None:
    """Lay out what the kernel shows of one pad, with its device file."""
    inputs, devices = folder / "class", folder / "dev"
    device = folder / "devices" / f"input{number}"
    (device / f"event{number}").mkdir(parents=True)
    for what, said in (("name", name), ("uniq", uniq), ("phys", phys)):
        (device / what).write_text(f"{said}\n")
    for one in (f"js{number}", f"event{number}"):
        (inputs / one).mkdir(parents=True)
        (inputs / one / "device").symlink_to(device)
    devices.mkdir(exist_ok=True)
    (devices / f"event{number}").touch()


def unreadable(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    """Have the system refuse these device files; root may read whatever its mode is."""
    access = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: Path(path).name not in names and access(path, mode))


def test_serial_and_socket_are_read_where_they_are(tmp_path: Path) -> None:
    plug(tmp_path, 7, "quay pad", uniq="00:11:22", phys="usb-1.2/input0")
    plug(tmp_path, 8, "lantern pad")
    inputs = tmp_path / "class"
    assert serial_and_socket("/dev/input/event7", inputs) == ("00:11:22", "usb-1.2/input0")
    assert serial_and_socket("/dev/input/event8", inputs) == ("", "")
    assert serial_and_socket("/dev/input/event9", inputs) == ("", "")


def test_pads_that_may_not_be_read_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plug(tmp_path, 7, "quay pad")
    plug(tmp_path, 8, "lantern\x1b pad")
    where = tmp_path / "class", tmp_path / "dev"
    assert shut_out(*where) == ()
    unreadable(monkeypatch, "event8")
    assert shut_out(*where) == ("lantern pad",)
    assert shut_out(tmp_path / "nowhere", tmp_path / "dev") == ()


def test_a_pad_that_may_not_be_read_is_told_once_when_the_system_has_had_its_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found: tuple[str, ...] = ("quay pad",)
    monkeypatch.setattr(sdl, "shut_out", lambda: found)
    with open_pads("pads:") as pads:
        pads.read(0)
        assert pads.notices() == ()
        pads.read(1 * S)
        assert pads.notices() == ()
        pads.read(2 * S)
        (notice,) = pads.notices()
        assert notice.startswith("the game controller quay pad is here but may not be read; end the program")
        for step in range(3, 9):
            pads.read(step * S)
        assert pads.notices() == ()
        found = ()
        pads.read(10 * S)
        found = ("quay pad",)
        pads.read(12 * S)
        pads.read(14 * S)
        assert len(pads.notices()) == 1
