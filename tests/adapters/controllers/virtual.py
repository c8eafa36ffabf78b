"""Pads that are not there: SDL's own virtual ones, plugged in, moved and pulled by a test. No hardware is needed."""

import ctypes
from typing import Any

from sequencer.adapters.pad_ports.library import library


class Virtual:
    """One virtual pad. `kind` is a type of SDL's: 1 is a game controller that SDL knows, 2 a wheel, 0 anything."""

    def __init__(self, name: str, *, kind: int = 1, axes: int = 6, buttons: int = 15, hats: int = 0) -> None:
        self._sdl: Any = library()
        told = self._sdl.SDL_VirtualJoystickDesc()
        told.version = self._sdl.SDL_VIRTUAL_JOYSTICK_DESC_VERSION
        told.type, told.naxes, told.nbuttons, told.nhats = kind, axes, buttons, hats
        told.vendor_id, told.product_id = 0x1234, 0x5678
        told.axis_mask = (1 << axes) - 1
        told.button_mask = (1 << buttons) - 1
        told.name = self._name = name.encode()
        index = self._sdl.SDL_JoystickAttachVirtualEx(ctypes.byref(told))
        assert index >= 0, self._sdl.SDL_GetError()
        self._stick: Any = self._sdl.SDL_JoystickOpen(index)
        self.id = self._sdl.SDL_JoystickInstanceID(self._stick)

    def move(self, axis: int, part: float) -> None:
        """Move an axis to a part, -1 to 1, of its way as SDL counts it: down is positive."""
        assert self._sdl.SDL_JoystickSetVirtualAxis(self._stick, axis, round(part * 32767)) == 0

    def move_to_end(self, axis: int) -> None:
        """Move an axis to the lowest step that there is, one beyond -1."""
        assert self._sdl.SDL_JoystickSetVirtualAxis(self._stick, axis, -32768) == 0

    def press(self, button: int, down: bool = True) -> None:
        assert self._sdl.SDL_JoystickSetVirtualButton(self._stick, button, int(down)) == 0

    def push_hat(self, hat: int, value: int) -> None:
        assert self._sdl.SDL_JoystickSetVirtualHat(self._stick, hat, value) == 0

    def tap(self, button: int) -> None:
        """Press and let go before anybody reads, as the system tells of it."""
        self.press(button)
        self._sdl.SDL_JoystickUpdate()
        self.press(button, down=False)
        self._sdl.SDL_JoystickUpdate()

    def pull(self) -> None:
        """Pull it out."""
        self.let_be()
        count = self._sdl.SDL_NumJoysticks()
        index = next(one for one in range(count) if self._sdl.SDL_JoystickGetDeviceInstanceID(one) == self.id)
        assert self._sdl.SDL_JoystickDetachVirtual(index) == 0

    def let_be(self) -> None:
        """Move it no more, but leave it as it stands: nobody has it open then but who reads it."""
        if self._stick is not None:
            self._sdl.SDL_JoystickClose(self._stick)
            self._stick = None

    @property
    def is_open(self) -> bool:
        """Whether anybody has it open."""
        return bool(self._sdl.SDL_JoystickFromInstanceID(self.id))

    @property
    def guid(self) -> str:
        text = ctypes.create_string_buffer(33)
        self._sdl.SDL_JoystickGetGUIDString(self._sdl.SDL_JoystickGetGUID(self._stick), text, len(text))
        return text.value.decode()
