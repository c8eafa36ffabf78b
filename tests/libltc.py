"""libltc, an independent encoder and decoder of linear timecode, through ctypes.

Source: its public header, ltc.h of libltc 1.3. It works on eight bits a sample.
"""

import ctypes
import os
from collections.abc import Callable, Iterable
from ctypes import POINTER, c_double, c_float, c_int, c_longlong, c_size_t, c_ubyte, c_uint16, c_void_p
from ctypes.util import find_library
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import NDArray

Samples = NDArray[np.float32]

_STANDARDS = {24: 3, 25: 1, 30: 0}  # LTC_TV_FILM_24, LTC_TV_625_50, LTC_TV_525_60
_DONT_TOUCH_FLAGS = 4  # LTC_BGF_DONT_TOUCH
_SYNC = bytes.fromhex("FC BF")  # where a word ran backward it leaves these as they ran
_ROOM_FPS = 1.0  # its buffers hold one word at this many a second


class _Frame(ctypes.Structure):
    """LTCFrame: bit fields of unsigned int, so that it is padded to twelve bytes."""

    _fields_ = (("bits", c_ubyte * 8), ("sync_word", c_uint16), ("padding", c_uint16))


class _FrameExt(ctypes.Structure):
    _fields_ = (
        ("ltc", _Frame),
        ("off_start", c_longlong),
        ("off_end", c_longlong),
        ("reverse", c_int),
        ("biphase_tics", c_float * 80),
        ("sample_min", c_ubyte),
        ("sample_max", c_ubyte),
        ("volume", c_double),
    )


class Theirs(NamedTuple):
    """A word as libltc read it. Unit: samples, from the first transition to the last sample."""

    bits: bytes
    backward: bool
    start: int
    end: int


@cache
def _library() -> ctypes.CDLL | None:
    name = find_library("ltc")
    if name is None:
        return None
    lib = ctypes.CDLL(name)
    lib.ltc_decoder_create.argtypes, lib.ltc_decoder_create.restype = (c_int, c_int), c_void_p
    lib.ltc_decoder_free.argtypes = (c_void_p,)
    lib.ltc_decoder_write_float.argtypes = (c_void_p, POINTER(c_float), c_size_t, c_longlong)
    lib.ltc_decoder_write_float.restype = None
    lib.ltc_decoder_read.argtypes = (c_void_p, POINTER(_FrameExt))
    lib.ltc_encoder_create.argtypes, lib.ltc_encoder_create.restype = (c_double, c_double, c_int, c_int), c_void_p
    lib.ltc_encoder_free.argtypes, lib.ltc_encoder_free.restype = (c_void_p,), None
    lib.ltc_encoder_set_buffersize.argtypes = (c_void_p, c_double, c_double)
    lib.ltc_encoder_set_volume.argtypes = (c_void_p, c_double)
    lib.ltc_encoder_set_frame.argtypes, lib.ltc_encoder_set_frame.restype = (c_void_p, POINTER(_Frame)), None
    lib.ltc_encoder_encode_byte.argtypes = (c_void_p, c_int, c_double)
    lib.ltc_encoder_get_bufferptr.argtypes = (c_void_p, POINTER(POINTER(c_ubyte)), c_int)
    lib.ltc_frame_increment.argtypes = (POINTER(_Frame), c_int, c_int, c_int)
    return lib


def needs_libltc() -> ctypes.CDLL:
    """Return the library; skip the running test where it is not installed, or fail it under CI=true."""
    lib = _library()
    if lib is not None:
        return lib
    if os.environ.get("CI") == "true":
        pytest.fail("libltc is not installed; .ci/run installs what the tests need")
    pytest.skip("libltc is not installed")


def decoder(rate_hz: float, fps: float, block: int = 256) -> Callable[[Samples], list[Theirs]]:
    """Return what decodes whole recordings, block by block, each with a decoder of its own."""
    lib = needs_libltc()

    def decode(samples: Samples) -> list[Theirs]:
        samples = np.ascontiguousarray(samples, np.float32)
        start, size = samples.ctypes.data, len(samples)
        handle = lib.ltc_decoder_create(round(rate_hz / fps), 64)
        frame, found = _FrameExt(), []
        try:
            for at in range(0, size, block):
                piece = ctypes.cast(start + 4 * at, POINTER(c_float))
                lib.ltc_decoder_write_float(handle, piece, min(block, size - at), at)
                while lib.ltc_decoder_read(handle, frame):
                    found.append(
                        Theirs(bytes(frame.ltc.bits) + _SYNC, bool(frame.reverse), frame.off_start, frame.off_end)
                    )
        finally:
            lib.ltc_decoder_free(handle)
        return found

    return decode


def encode(words: Iterable[bytes], nominal: int, fps: float, rate_hz: float, *, speed: float = 1.0) -> Samples:
    """Return the sound of whole words, in the order given; where `speed` is negative each of them runs backward."""
    lib = needs_libltc()
    handle = lib.ltc_encoder_create(rate_hz, fps, _STANDARDS[nominal], _DONT_TOUCH_FLAGS)
    pointer, pieces = POINTER(c_ubyte)(), []
    try:
        assert lib.ltc_encoder_set_buffersize(handle, rate_hz, _ROOM_FPS) == 0
        assert lib.ltc_encoder_set_volume(handle, -6.0) == 0
        for word in words:
            lib.ltc_encoder_set_frame(handle, _frame(word))
            for byte in range(9, -1, -1) if speed < 0 else range(10):
                # its speed is how much longer a bit takes
                assert lib.ltc_encoder_encode_byte(handle, byte, 1 / speed) == 0
            length = lib.ltc_encoder_get_bufferptr(handle, pointer, 1)
            pieces.append(np.ctypeslib.as_array(pointer, (length,)).copy())
    finally:
        lib.ltc_encoder_free(handle)
    return ((np.concatenate(pieces).astype(np.float32) - 128) / 127).astype(np.float32)


def after(word: bytes, nominal: int) -> bytes:
    """Return the word that libltc makes of `word` by counting one frame on, polarity-correction bit included."""
    frame = _frame(word)
    needs_libltc().ltc_frame_increment(frame, nominal, _STANDARDS[nominal], 0)
    return bytes(frame)[:10]


def _frame(word: bytes) -> _Frame:
    return _Frame((c_ubyte * 8)(*word[:8]), int.from_bytes(word[8:], "little"))
