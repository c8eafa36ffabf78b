"""Which code is followed while it is fuzzed, and how: each way through it adds to a count that libFuzzer reads.

Atheris does the rewriting. Its own counting calls a function at each step; here that is a few instructions in place,
and the room that a call needs on the stack is what it was, not the sum of all that is ever laid there.
"""

import ctypes
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from types import CodeType, ModuleType
from typing import Any

import atheris
from atheris import instrument_bytecode

from tests.fuzz.sources import LIBRARIES

_DEVICE = ("axis", "course", "device", "packets", "plan")  # the modules of docs/device, which has no package
_FOLLOWED = frozenset(("sequencer", *_DEVICE, *LIBRARIES))
# arithmetic on what was decoded long since, and what writes the files that are then read
_LEFT_OUT = ("sequencer.sync.line", "sequencer.sync.envelope", "mcap.writer")
_DEEPER = 8  # places on the stack that the counting takes, at most
_MOST = 1 << 17  # steps in all that is followed
_HITS = bytearray(_MOST)  # how often each was taken
_MORE = (*range(1, 256), 255)  # the count that comes after each


class _Counting(instrument_bytecode.Instrumentor):  # type: ignore[misc]  # atheris has no types
    """Counts a step by `_HITS[place] = _MORE[_HITS[place]]`."""

    steps = 0

    def _generate_trace_branch_invocation(self, at: Any) -> list[Any]:
        hits, more, place = self._kept(_HITS), self._kept(_MORE), self._get_const(_Counting.steps)
        _Counting.steps += 1
        assert _Counting.steps <= _MOST
        loads = [("LOAD_CONST", one) for one in (more, hits, place)]
        count = [*loads, ("BINARY_SUBSCR", None), ("BINARY_SUBSCR", None), *loads[1:], ("STORE_SUBSCR", None)]
        return [instrument_bytecode._generate_instruction(name, argument, at) for name, argument in count]

    def _kept(self, one: object) -> int:
        for place, there in enumerate(self.consts):
            if there is one:
                return place
        self.consts.append(one)
        return len(self.consts) - 1


def rewritten(code: CodeType) -> CodeType:
    """Return code that counts its steps and shows libFuzzer what it compares."""
    usual, instrument_bytecode.Instrumentor = instrument_bytecode.Instrumentor, _Counting
    try:
        return _fitted(code, atheris.patch_code(code, trace_dataflow=True))
    finally:
        instrument_bytecode.Instrumentor = usual


def _fitted(code: CodeType, counting: CodeType) -> CodeType:
    """Return `counting` with the stack of `code`: atheris adds up all that is ever laid there."""
    inner = [
        _fitted(before, after) if isinstance(before, CodeType) else after
        for before, after in zip(code.co_consts, counting.co_consts, strict=False)
    ]
    rest = counting.co_consts[len(inner) :]
    return counting.replace(co_consts=(*inner, *rest), co_stacksize=code.co_stacksize + _DEEPER)


class _Loader(SourceFileLoader):
    def get_code(self, fullname: str) -> CodeType | None:
        code = super().get_code(fullname)
        return None if code is None else rewritten(code)


class Following(MetaPathFinder):
    """Has modules that are followed rewritten as they are loaded, while it is the first in `sys.meta_path`."""

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Return where the module is, as the import asks."""
        if not is_followed(fullname):
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and isinstance(spec.loader, SourceFileLoader):
            spec.loader = _Loader(spec.loader.name, spec.loader.path)
        return spec


def is_followed(module: str) -> bool:
    """Whether a module's steps are counted."""
    return module.partition(".")[0] in _FOLLOWED and module not in _LEFT_OUT


def hand_over() -> None:
    """Tell libFuzzer where the counts are; no more code can be followed after that."""
    import atheris.core_with_libfuzzer as fuzzer

    library, many = ctypes.CDLL(fuzzer.__file__), _Counting.steps
    counts = (ctypes.c_uint8 * many).from_buffer(_HITS)
    begin = ctypes.addressof(counts)
    library.__sanitizer_cov_8bit_counters_init(ctypes.c_void_p(begin), ctypes.c_void_p(begin + many))
    # a program counter for each, as libFuzzer wants it: only its being another than the rest matters
    counters = (ctypes.c_size_t * (2 * many))(*(one for place in range(many) for one in (begin + place, 0)))
    table = ctypes.addressof(counters)
    library.__sanitizer_cov_pcs_init(ctypes.c_void_p(table), ctypes.c_void_p(table + ctypes.sizeof(counters)))
    _SEEN.extend((counts, counters))


_SEEN: list[Any] = []  # what libFuzzer looks at for as long as the process is there
