"""What is said where SDL is missing, too old, or does not start."""

import subprocess
import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec
from types import ModuleType

import pytest

from sequencer.adapters.controllers.sdl import KIND
from sequencer.adapters.pad_ports.library import library, text
from sequencer.errors import LinkError


class Missing:
    """Finds the binding as it is where the package is installed, but the library under it is not, or is no library."""

    def __init__(self, fault: Exception) -> None:
        self.fault = fault

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name == "sdl2":
            raise self.fault
        return None


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (ImportError("could not find any library for SDL2"), r"pip install pysdl2-dll.*apt install libsdl2-2\.0-0"),
        (OSError("wrong ELF class"), r"cannot be loaded \(wrong ELF class\); install it anew"),
    ],
)
def test_a_missing_library_says_how_to_mend_it(monkeypatch: pytest.MonkeyPatch, fault: Exception, said: str) -> None:
    monkeypatch.delitem(sys.modules, "sdl2", raising=False)
    monkeypatch.setattr(sys, "meta_path", [Missing(fault), *sys.meta_path])
    with pytest.raises(LinkError, match=said):
        KIND.names()


def test_a_missing_package_says_how_to_mend_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sdl2", None)
    with pytest.raises(LinkError, match=r"pip install pysdl2$"):
        KIND.names()


def test_an_old_library_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(library().dll, "version", 2018)
    with pytest.raises(LinkError, match=r"SDL 2\.24 or newer"), KIND.open("pads:"):
        pass


def test_what_does_not_start_says_why_and_that_the_rest_works(monkeypatch: pytest.MonkeyPatch) -> None:
    sdl = library()
    monkeypatch.setattr(sdl, "SDL_InitSubSystem", lambda parts: sdl.SDL_SetError(b"no way in"))
    with pytest.raises(LinkError, match=r"\(no way in\); the program works without them"), KIND.open("pads:"):
        pass


def test_the_binding_warns_of_nothing_and_is_loaded_late() -> None:
    asked = (
        "import sys; from sequencer.shell import kinds; from sequencer.adapters.controllers import sdl;"
        "assert 'sdl2' not in sys.modules; sdl.names(); assert 'sdl2' in sys.modules"
    )
    subprocess.run([sys.executable, "-W", "error", "-c", asked], check=True, timeout=60)


@pytest.mark.parametrize(("said", "shown"), [(None, ""), (b" quay\tpad\n", "quaypad"), (b"\xff\xc3\xa9", "\ufffdé")])
def test_what_sdl_says_is_made_fit_to_be_shown(said: bytes | None, shown: str) -> None:
    assert text(said) == shown
