"""The tally of fuzzing: what counts, for how long, and which target is next; and the code that is followed."""

import sys
from pathlib import Path
from types import CodeType

import pytest

from tests.fuzz import __main__ as command
from tests.fuzz import running, sources
from tests.fuzz.running import Ran
from tests.fuzz.tally import Tally, Tried
from tests.fuzz.target import Target
from tests.fuzz.targets import TARGETS

_CODE = "def read(data):\n    return data[0]\n"


@pytest.fixture
def decoder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A source file of a decoder, that tests may change."""
    file = tmp_path / "house" / "decoder.py"
    file.parent.mkdir()
    file.write_text(_CODE)
    monkeypatch.setattr(sources, "_folders", lambda: {"house": file.parent})
    return file


def _tried(inputs: int, seconds: int = 1, file: str = "house/decoder.py") -> Tried:
    return Tried(inputs=inputs, seconds=seconds, sources=sources.hashes([file]))


def _changed(file: Path, code: str) -> None:
    file.write_text(code)
    sources._hash.cache_clear()  # a file system may give both the same instant


def test_it_goes_on_where_it_left_off(tmp_path: Path, decoder: Path) -> None:
    path = tmp_path / "evenings" / "tally.json"
    assert Tally(path).of("slip") == Tried()
    assert Tally(path).add("slip", _tried(300, 3))
    assert Tally(path).add("slip", _tried(100, 2))
    tried = Tally(path).of("slip")
    assert (tried.inputs, tried.seconds, tried.a_second) == (400, 5, 80)
    assert Tally(path).of("osc").inputs == 0


def test_a_decoder_that_changes_begins_anew_and_one_that_is_only_laid_out_otherwise_does_not(
    tmp_path: Path, decoder: Path
) -> None:
    path = tmp_path / "tally.json"
    Tally(path).add("slip", _tried(300))
    _changed(decoder, f"# a remark\n\n{_CODE}")
    assert Tally(path).of("slip").inputs == 300
    _changed(decoder, _CODE.replace("[0]", "[1]"))
    assert Tally(path).of("slip").inputs == 0
    Tally(path).add("slip", _tried(7))
    assert Tally(path).of("slip").inputs == 7
    decoder.unlink()
    assert Tally(path).of("slip").inputs == 0


def test_a_file_that_inputs_reach_later_does_not_undo_what_was_counted(tmp_path: Path, decoder: Path) -> None:
    path = tmp_path / "tally.json"
    decoder.with_name("other.py").write_text("a = 1\n")
    Tally(path).add("slip", _tried(300))
    Tally(path).add("slip", _tried(100, file="house/other.py"))
    assert Tally(path).of("slip").inputs == 400
    for file, code in (("other.py", "a = 1\n"), ("decoder.py", _CODE)):
        _changed(decoder.with_name(file), "a = 2\n")
        assert Tally(path).of("slip").inputs == 0, "either is the decoder now"
        _changed(decoder.with_name(file), code)
        assert Tally(path).of("slip").inputs == 400


def test_what_ran_while_its_code_changed_does_not_count(tmp_path: Path, decoder: Path) -> None:
    tally, ran = Tally(tmp_path / "tally.json"), _tried(300)
    _changed(decoder, _CODE.replace("[0]", "[1]"))
    assert not tally.add("slip", ran)
    assert tally.of("slip").inputs == 0


def test_sources_are_the_files_that_inputs_run_through() -> None:
    found = sources.reached(TARGETS["slip"])
    assert set(found) == {"sequencer/wire/slip.py"}
    assert found == sources.hashes(found)
    assert {"sequencer/wire/mtc.py", "mido/tokenizer.py"} < set(sources.reached(TARGETS["mtc"]))
    assert "device/packets.py" in sources.reached(TARGETS["device-packets"])


def test_the_one_that_needs_the_least_time_is_next_and_before_it_those_of_which_nobody_knows(
    tmp_path: Path, decoder: Path
) -> None:
    tally = Tally(tmp_path / "tally.json")
    names = ["osc", "slip", "mtc", "midi"]
    for name, inputs, seconds in (("osc", 100, 100), ("slip", 900, 9), ("mtc", 1000, 1)):
        tally.add(name, _tried(inputs, seconds))
    assert command.next_target(tally, names, 1000) == ("midi", command._TRIAL_S)
    tally.add("midi", _tried(10, 1))
    order = []
    while (chosen := command.next_target(tally, names, 1000)) is not None:
        order.append(chosen[0])
        assert chosen[1] == command._PORTION_S
        tally.add(chosen[0], _tried(1000, 1000))
    assert order == ["slip", "midi", "osc"]
    lines = command.table(tally, names, 5000).splitlines()
    assert [line.split()[:3] for line in lines[1:3]] == [["osc", "1100", "3900"], ["slip", "1900", "3100"]]
    unknown = command.table(tally, ["osc", "played"], 10_000_000).splitlines()
    assert unknown[2].split() == ["played", "0", "10000000", "-", "-"]
    assert unknown[3] == "2777.5 hours are left, and those of 1 of which nobody knows yet"


@pytest.fixture
def made_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[str]:
    """Fuzzing that does nothing but count: what was fuzzed, and with how many inputs; `osc` does not survive."""
    done: list[str] = []

    def fuzz(target: Target, count: int, seconds: int, jobs: int, seed: int, corpus: Path, folder: Path) -> list[Ran]:
        assert corpus.is_dir()
        done.append(f"{target.name} {count} {seed}")
        found = (b"\xff",) if target.name == "osc" else ()
        return [Ran(min(count, 600), 2, 9, found, ended=target.name == "midi", words="")]

    monkeypatch.setattr(command, "fuzz", fuzz)
    monkeypatch.setattr(command, "keep", lambda target, new: (0, 0))
    monkeypatch.setattr(command, "CORPUS", tmp_path / "corpus")
    monkeypatch.setattr(command, "reached", lambda target: {})
    monkeypatch.setattr(command, "find_spec", lambda name: name)
    return done


def _main(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr(sys, "argv", ["fuzz", *words])
    return command.main()


def test_each_is_fuzzed_until_it_has_had_enough_and_never_with_the_same_seed(
    monkeypatch: pytest.MonkeyPatch, made_up: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tally = ("--tally", str(tmp_path / "tally.json"))
    assert _main(monkeypatch, "slip", "mtc", "--to", "1000", *tally) == 0
    assert made_up == ["mtc 1000 1", "slip 1000 1", "mtc 400 601", "slip 400 601"]
    assert "slip                      1000           0" in capsys.readouterr().out
    assert _main(monkeypatch, "slip", "mtc", "--to", "1000", *tally) == 0
    assert len(made_up) == 4


def test_what_is_not_survived_is_kept_and_not_tried_again(
    monkeypatch: pytest.MonkeyPatch, made_up: list[str], tmp_path: Path
) -> None:
    tally = ("--tally", str(tmp_path / "tally.json"))
    assert _main(monkeypatch, "osc", "slip", "--to", "1000", *tally) == 1
    assert made_up == ["osc 1000 1", "slip 1000 1", "slip 400 601"]
    (kept,) = (tmp_path / "corpus" / "osc").iterdir()
    assert kept.read_bytes() == b"\xff"
    assert Tally(tmp_path / "tally.json").of("osc").inputs == 0


def test_a_process_that_dies_of_no_input_is_told_beside_one_that_does_not(
    monkeypatch: pytest.MonkeyPatch, made_up: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ran = [Ran(600, 2, 9, (), ended=False, words=""), Ran(0, 2, 9, (), ended=False, words="it fell over")]
    monkeypatch.setattr(command, "fuzz", lambda *_: ran)
    assert _main(monkeypatch, "slip", "--jobs", "2", "--tally", str(tmp_path / "tally.json")) == 1
    assert "it fell over" in capsys.readouterr().err


def test_ctrl_c_ends_it_and_counts_what_was_done(
    monkeypatch: pytest.MonkeyPatch, made_up: list[str], tmp_path: Path
) -> None:
    assert _main(monkeypatch, "midi", "slip", "--tally", str(tmp_path / "tally.json")) == 130
    assert made_up == ["midi 10000000 1"]
    assert Tally(tmp_path / "tally.json").of("midi").inputs == 600


def test_a_file_that_is_no_tally_is_refused_and_left_as_it_is(
    monkeypatch: pytest.MonkeyPatch, made_up: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tally.json"
    for text in ("{", '{"targets": 3}', "\xff"):
        path.write_text(text, encoding="latin-1")
        assert _main(monkeypatch, "slip", "--tally", str(path)) == 2
        assert "is no tally of fuzzing" in capsys.readouterr().err
        assert path.read_text(encoding="latin-1") == text
    assert made_up == []


_FOLLOWED = """
def odd(numbers):
    try:
        return [one for one in numbers if one % 2] or missing
    except NameError:
        return None

def steps(count):
    for one in range(count):
        yield one
"""


def test_code_that_is_followed_does_the_same_counts_its_steps_and_needs_no_more_room() -> None:
    pytest.importorskip("atheris")
    from tests.fuzz import followed

    code = compile(_FOLLOWED, "followed", "exec")
    first = followed._Counting.steps
    counting = followed.rewritten(code)
    last = followed._Counting.steps
    there: dict[str, object] = {}
    exec(counting, there)
    before = followed._HITS[first:last]
    assert there["odd"]([1, 2, 3]) == [1, 3]  # type: ignore[operator]  # as the text above has it
    assert there["odd"]([2]) is None  # type: ignore[operator]  # likewise
    within = followed._HITS[first:last]
    assert sum(map(bool, within)) > sum(map(bool, before))
    assert list(there["steps"](1000)) == list(range(1000))  # type: ignore[operator]  # likewise
    assert max(followed._HITS[first:last]) == 255, "a count stands at its highest, and does not begin anew"

    def inner(code: CodeType) -> list[CodeType]:
        return [code, *(one for each in code.co_consts if isinstance(each, CodeType) for one in inner(each))]

    for plain, other in zip(inner(code), inner(counting), strict=True):
        assert plain.co_stacksize < other.co_stacksize <= plain.co_stacksize + followed._DEEPER


def test_what_is_followed_is_our_code_and_what_takes_bytes_apart_for_it() -> None:
    pytest.importorskip("atheris")
    from tests.fuzz.followed import is_followed

    assert all(map(is_followed, ("sequencer.wire.slip", "mido.tokenizer", "packets")))
    assert not any(map(is_followed, ("numpy", "tests.fuzz.heard", "sequencer.sync.line", "packetsize")))


def test_what_libfuzzer_says_at_its_end_is_read(tmp_path: Path) -> None:
    """As libFuzzer says it: by itself when it is done, and in its statistics when it was ended."""
    said, found = tmp_path / "said", tmp_path / "found"
    found.mkdir()
    said.write_text("#20\tDONE   cov: 19 ft: 90 corp: 34/520b\nDone 20000 runs in 7 second(s)\n")
    assert running._ran(said, found, 30, ended=False, status=0) == Ran(20000, 7, 19, (), False, said.read_text())
    assert running._ran(said, found, 30, ended=False, status=-9).inputs == 0, "it was killed, and nobody knows why"
    (found / "crash-1").write_bytes(b"\xff")
    said.write_text("==1== libFuzzer: run interrupted; exiting\nstat::number_of_executed_units: 325\n")
    ran = running._ran(said, found, 30, ended=False, status=72)
    assert ran == Ran(325, 30, 0, (b"\xff",), True, said.read_text())
    said.write_text("ImportError: it fell over before it began\n")
    ran = running._ran(said, found, 30, ended=False, status=1)
    assert (ran.inputs, ran.ended) == (0, False)
