"""The kept corpus, nesting without end, and some hundred inputs of hypothesis through every decoder that is fuzzed.

What a decoder does with an input is judged by its target: no error but those that it promises, and what it reads is
what stands there, however the bytes were split.
"""

import functools
import sys
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from sequencer.project.journal import Reading
from tests.fuzz import __main__ as command
from tests.fuzz.kept import CORPUS, FOUND, LONGEST, MOST, chosen, inputs, keep
from tests.fuzz.recipes import changed, places
from tests.fuzz.target import Target, at_gap, packed, packets, pieces, timed
from tests.fuzz.targets import TARGETS
from tests.needs import needs_module

_DEEP = 3000  # far beyond what a reader that calls itself can follow
# of every kind of text and binary that is read here: empty, cut off at once, and nested
_ODD = (
    b"",
    b"\0",
    b"\xff" * 64,
    b"\0" * 64,
    b"[" * _DEEP,
    b"[" * _DEEP + b"]" * _DEEP,
    b'{"a":' * _DEEP + b"1" + b"}" * _DEEP,
    b'\0{"a":' + b"[" * _DEEP + b"]" * _DEEP + b"}",
    b"\x91" * _DEEP + b"\xc0",
    b"\x00#bundle\0" * 64,
    b'{"\xff": "\xff"}',
    b'{"a": ' + b"9" * 5000 + b"}",
)
_EXAMPLES = {"patient": 30, "quick": 150}
# what takes milliseconds an input: whole projects, whole performances
_SLOW = frozenset(
    {"project-text", "project-edited", "recovery", "journal", "journal-step", "journal-bytes", "take-heading"}
    | {"take-rows", "take-file", "mtc-followed", "midi-ear", "ltc-sound", "ltc-followed", "ltc-words", "device-obeyed"}
)


@functools.cache
def known(name: str) -> tuple[bytes, ...]:
    return (*TARGETS[name].seeds(), *inputs(name))


@pytest.fixture(params=list(TARGETS))
def target(request: pytest.FixtureRequest) -> Target:
    found = TARGETS[request.param]
    if found.needs:
        needs_module(found.needs)
    return found


@st.composite
def spoilt(draw: st.DrawFn, target: Target) -> bytes:
    """An input that is known, with a few bytes other than they were, left out or put in; or bytes of any kind."""
    data = bytearray(draw(st.sampled_from(known(target.name))))
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        out = draw(st.integers(0, 4))
        data[at : at + out] = draw(st.binary(max_size=4))
    return bytes(data)


def test_what_is_kept_and_what_is_odd_is_survived(target: Target) -> None:
    for data in (*known(target.name), *_ODD):
        target.decode(data)


def test_what_is_spoilt_is_survived(target: Target) -> None:
    many = _EXAMPLES["patient" if target.name in _SLOW else "quick"]

    @settings(
        max_examples=many,
        derandomize=True,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    @given(spoilt(target))
    def survives(data: bytes) -> None:
        target.decode(data)

    survives()


@pytest.mark.parametrize("fault", [OverflowError, msgspec.ValidationError])
def test_what_the_journal_may_not_raise_is_not_passed_over(
    monkeypatch: pytest.MonkeyPatch, fault: type[Exception]
) -> None:
    def feed(*_: object) -> bool:
        raise fault

    monkeypatch.setattr(Reading, "feed", feed)
    with pytest.raises(fault):
        TARGETS["journal-step"].decode(TARGETS["journal-step"].seeds()[0])


def test_each_target_has_a_corpus_and_each_corpus_a_target() -> None:
    assert {path.name for path in CORPUS.iterdir()} == set(TARGETS)
    for folder in CORPUS.iterdir():
        kept = [path for path in folder.iterdir() if not path.name.startswith(FOUND)]
        assert 1 <= len(kept) <= MOST
        assert max(path.stat().st_size for path in kept) <= LONGEST


# what the targets and their tools are made of


@given(st.binary(max_size=60))
def test_pieces_lose_nothing(data: bytes) -> None:
    assert b"".join(pieces(data)) == data[1:]


@given(st.lists(st.binary(max_size=20), max_size=5))
def test_parts_are_found_again(parts: list[bytes]) -> None:
    assert list(packets(packed(parts))) == parts
    stream = b"".join(at_gap(10, part) for part in parts)
    assert list(timed(stream)) == [(10_000_000 * (n + 1), part) for n, part in enumerate(parts)]


@given(st.binary(max_size=40))
def test_a_recipe_changes_a_copy_and_always_the_same_way(recipe: bytes) -> None:
    tree = {"a": [1, {"b": "text"}], "c": 2.5}
    one = changed(tree, recipe)
    assert tree == {"a": [1, {"b": "text"}], "c": 2.5}
    assert repr(one) == repr(changed(tree, recipe))
    assert len(places(tree)) == 5


def _counts(data: bytes) -> None:
    """A decoder with two ways, so that there is something to reach; it lies in our code, as the corpus asks."""
    TARGETS["slip"].decode(data)


def test_of_inputs_that_reach_the_same_the_short_one_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = Target(name="slip", decode=_counts, seeds=lambda: [b"\x11\xc0a\xc0"])
    taken = chosen(target, [b"\x11\xc0ab\xc0", b"\x11\xc0abc\xc0", b"\x11\xc0\xdbx\xc0", b"\x11"])
    assert b"\x11\xc0\xdbx\xc0" in taken
    assert b"\x11\xc0abc\xc0" not in taken
    monkeypatch.setattr("tests.fuzz.kept.CORPUS", tmp_path)
    (tmp_path / "slip").mkdir()
    (tmp_path / "slip" / f"{FOUND}0").write_bytes(b"\x00")
    (tmp_path / "slip" / "0").write_bytes(b"\x11\xc0abc\xc0")
    many, steps = keep(target, [b"\x11\xc0\xdbx\xc0"])
    assert steps > many > 0
    # what was found stays; what adds nothing goes
    assert (tmp_path / "slip" / f"{FOUND}0").exists()
    assert not (tmp_path / "slip" / "0").exists()


def test_without_the_library_the_command_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "find_spec", lambda _: None)
    monkeypatch.setattr(sys, "argv", ["fuzz", "slip"])
    assert command.main() == 2
    assert "pip install 'twintake[fuzz]'" in capsys.readouterr().err
    monkeypatch.setattr(sys, "argv", ["fuzz", "nothing"])
    assert command.main() == 2
    assert "there is no target nothing" in capsys.readouterr().err
    monkeypatch.setattr(sys, "argv", ["fuzz"])
    assert command.main() == 0
    assert "slip" in capsys.readouterr().out.split()
