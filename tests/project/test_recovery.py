"""Unsaved edits: kept step by step, recovered after any end, never lost, never guessed."""

import os
import re
import shutil
import subprocess
import sys
import zlib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.project.document import Project
from sequencer.project.journal import Header, Reading, framed, header, step, unframed, whole_bytes
from sequencer.project.lock import Lock
from sequencer.project.recovery import Journal, Recovered, Refused, fingerprint, hold, recover
from sequencer.project.store import load, save
from sequencer.score.edits.offset import offset
from sequencer.score.laws.bezier import Bezier
from sequencer.score.move import Ease, Key, Marker, Track
from sequencer.shell.kinds import laws

LANTERNS = Path("projects/harbour-lanterns")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(LANTERNS, tmp_path / "lanterns")
    return tmp_path / "lanterns"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return tmp_path / "state"


def begun(folder: Path, root: Path) -> tuple[Journal, Project]:
    project = load(folder, laws())
    return hold(folder, project, fingerprint(folder), root), project


def shifted(project: Project, axis: str, value: float) -> Project:
    return replace(project, move=offset(project.move, {axis: {1}}, value=value))


def found(folder: Path | None, root: Path) -> Recovered:
    """Return what is offered; it may be offered again."""
    recovered = recover(folder, laws(), root)
    assert isinstance(recovered, Recovered)
    recovered.later()
    return recovered


def test_steps_are_recovered_and_asked_about_once(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    assert not journal.record(project)
    assert recover(folder, laws(), root) is None
    now = project
    for value in (1.0, 2.5, -0.25):
        now = shifted(now, "tilt", value)
        assert journal.record(now)
        assert not journal.record(now)
    now = replace(now, name="Lanterns, again", move=replace(now.move, markers=(Marker("new", Fraction(7, 3)),)))
    journal.record(now)
    assert recover(folder, laws(), root) is None  # it lives
    journal.end()
    recovered = found(folder, root)
    assert recovered.project == replace(now, move=replace(now.move, markers=recovered.project.move.markers))
    # as the files would have it: to a billionth of a frame
    assert abs(recovered.project.move.markers[0].at - Fraction(7, 3)) < Fraction(1, 10**9)
    assert not recovered.lines
    assert not recovered.moved_on
    recovered.done()
    assert recover(folder, laws(), root) is None


def test_instants_are_kept_exactly_however_fine_and_settings_of_laws_as_well(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    keys = (
        Key(Fraction(1, 3), 1.0, Ease("bezier", Bezier((0.25, 0.1, 0.25, 1.0)))),
        Key(Fraction(10**30 + 1, 10**29), 2.0, Ease("poly345"), "stop", None, True),
        Key(Fraction(40), 3.0, Ease("poly345")),
    )
    tracks = tuple(Track("roll", keys) if track.axis == "roll" else track for track in project.move.tracks)
    now = replace(project, move=replace(project.move, tracks=tracks))
    journal.record(now)
    journal.end()
    assert found(folder, root).project == now


def test_a_project_that_was_never_saved_is_recovered_whole(root: Path) -> None:
    project = load(LANTERNS, laws())
    journal = hold(None, None, None, root)
    journal.record(project)
    journal.record(shifted(project, "pan", 1.0))
    journal.end()
    assert found(None, root).project == shifted(project, "pan", 1.0)


def test_tracks_that_come_and_go_keep_their_order(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    tracks = project.move.tracks
    without = replace(project, move=replace(project.move, tracks=tracks[1:]))
    journal.record(without)
    turned = replace(project, move=replace(project.move, tracks=(*tracks[1:], tracks[0])))
    journal.record(turned)
    journal.end()
    assert found(folder, root).project == turned


def test_saving_and_undoing_all_leave_nothing_behind(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    now = shifted(project, "pan", 1.0)
    journal.record(now)
    journal.record(project)
    journal.end()
    assert recover(folder, laws(), root) is None
    journal, _ = begun(folder, root)
    journal.record(now)
    save(folder, now, laws())
    journal.rebase(now, fingerprint(folder), now)
    journal.end()
    assert recover(folder, laws(), root) is None
    assert not [path for path in root.rglob("*") if path.is_file()]


def test_edits_made_while_it_was_saved_are_kept_from_the_saved_files_on(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    saved, now = shifted(project, "pan", 1.0), shifted(project, "pan", 2.0)
    journal.record(now)
    save(folder, saved, laws())
    journal.rebase(saved, fingerprint(folder), now)
    journal.end()
    recovered = found(folder, root)
    assert recovered.project == now
    assert not recovered.moved_on


def test_an_end_right_after_saving_offers_nothing(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    now = shifted(project, "pan", 1.0)
    journal.record(now)
    save(folder, now, laws())
    journal.end()
    assert recover(folder, laws(), root) is None


def test_files_that_another_program_changed_since_do_not_lose_the_edits(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    now = shifted(project, "pan", 1.0)
    journal.record(now)
    journal.end()
    save(folder, shifted(project, "tilt", 3.0), laws())
    recovered = found(folder, root)
    assert recovered.project == now
    assert recovered.moved_on
    shutil.rmtree(folder)
    assert found(folder, root).project == now


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(1, 400))
def test_a_torn_end_costs_the_last_step_alone(cut: int, folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    now = [project]
    for value in (1.0, 2.0, 3.0):
        now.append(shifted(now[-1], "pan", value))
        journal.record(now[-1])
    journal.end()
    path = journal.place / "journal"
    data = path.read_bytes()
    sizes = [len(one) + 8 for one in unframed(data)]
    path.write_bytes(data[:-cut])
    left = sum(sum(sizes[: number + 1]) <= len(data) - cut for number in range(len(sizes))) - 1
    recovered = recover(folder, laws(), root)
    if isinstance(recovered, Recovered):
        assert recovered.project == now[left]
        assert bool(recovered.lines) == (whole_bytes(data[:-cut]) < len(data) - cut)
        recovered.done()
    else:
        assert left <= 0
    shutil.rmtree(root, ignore_errors=True)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(at=st.integers(0, 10**6), flip=st.integers(1, 255))
def test_a_damaged_byte_is_never_taken_for_an_edit(at: int, flip: int, folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    states = [project, shifted(project, "pan", 1.0), shifted(shifted(project, "pan", 1.0), "tilt", 1.0)]
    for state in states[1:]:
        journal.record(state)
    journal.end()
    path = journal.place / "journal"
    data = bytearray(path.read_bytes())
    data[at % len(data)] ^= flip
    path.write_bytes(data)
    recovered = recover(folder, laws(), root)
    if isinstance(recovered, Refused):
        assert (recovered.kept / "journal").read_bytes() == data
    elif recovered is not None:
        assert recovered.project in states
        assert recovered.lines
        recovered.later()
    shutil.rmtree(root, ignore_errors=True)


def as_record(data: bytes) -> bytes:
    """Return a record whose checksum fits, whatever it says."""
    return len(data).to_bytes(4, "little") + zlib.crc32(data).to_bytes(4, "little") + data


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "damaged"),
        (b"a picture, not a journal" * 40, "damaged"),
        (framed(Header("twintake/journal", 99, "", "", "", 0.0)), "update the program"),
        (as_record(b"\x96\xb0twintake/journal\x01\xa2\xff\xfe"), "damaged"),  # no UTF-8
        (as_record(b"\x97\xb0twintake/journal\x01" + b"\xa0" * 3 + b"\x01" + b"\x91" * 3000), "damaged"),
    ],
)
def test_nonsense_is_refused_with_a_reason_and_kept_aside(data: bytes, words: str, folder: Path, root: Path) -> None:
    journal, _ = begun(folder, root)
    journal.end()
    journal.place.mkdir(parents=True)
    (journal.place / "journal").write_bytes(data)
    refused = recover(folder, laws(), root)
    assert isinstance(refused, Refused)
    assert words in refused.words
    assert (refused.kept / "journal").read_bytes() == data
    assert recover(folder, laws(), root) is None


def test_a_step_that_is_no_valid_project_falls_back_to_the_one_before(folder: Path, root: Path) -> None:
    journal, project = begun(folder, root)
    good = shifted(project, "pan", 1.0)
    journal.record(good)
    pan = good.move.tracks[0]
    twice = Track("pan", (pan.keys[0], *pan.keys))
    journal.record(replace(good, move=replace(good.move, tracks=(twice, *good.move.tracks[1:]))))
    journal.end()
    recovered = found(folder, root)
    assert recovered.project == good
    assert "same instant" in recovered.lines[0]


def test_a_splice_beyond_the_track_ends_the_reading(folder: Path) -> None:
    project = load(folder, laws())
    entry = step(project, shifted(project, "pan", 1.0), 0.0)
    assert entry is not None
    short = Track("pan", project.move.tracks[0].keys[:1])
    reading = Reading(laws(), replace(project, move=replace(project.move, tracks=(short,))))
    assert not reading.feed(next(unframed(framed(entry))))
    assert "does not fit" in reading.troubles[0]


def test_a_first_step_of_no_project_is_refused_and_kept_aside(root: Path) -> None:
    project = load(LANTERNS, laws())
    entry = step(replace(project, move=replace(project.move, tracks=())), project, 0.0)
    assert entry is not None
    journal = hold(None, None, None, root)
    journal.place.mkdir(parents=True, exist_ok=True)
    (journal.place / "journal").write_bytes(framed(Header("twintake/journal", 1, "", "", "", 0.0)) + framed(entry))
    journal.end()
    refused = recover(None, laws(), root)
    assert isinstance(refused, Refused)
    why = "a step does not fit, and ends what can be read: the first step does not say which project it is of"
    assert refused.words.endswith(f"journal: {why}")
    assert (refused.kept / "journal").is_file()


def test_a_project_of_which_many_edits_wait_takes_no_more_and_loses_none(folder: Path, root: Path) -> None:
    for number in range(16):  # each of these editors is ended before it has saved
        journal, project = begun(folder, root)
        journal.record(shifted(project, "pan", number + 1.0))
        journal.end()
    home = re.escape(str(journal.place.parent))
    words = f"journal: there are 16 records of unsaved edits already; recover them, or remove {home}"
    with pytest.raises(ProjectError, match=f"^{words}$"):
        begun(folder, root)
    assert len(list(journal.place.parent.glob("*/journal"))) == 16
    recovered = recover(folder, laws(), root)
    assert isinstance(recovered, Recovered)
    recovered.done()
    journal, _ = begun(folder, root)
    journal.end()


def test_many_steps_are_compacted_into_a_few_bytes(folder: Path, root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sequencer.project.recovery._COMPACT_BYTES", 5000)
    journal, project = begun(folder, root)
    journal._compact_at = 5000
    now = project
    for number in range(200):
        now = shifted(now, "pan", 0.01 if number % 2 else -0.02)
        journal.record(now)
    assert (journal.place / "journal").stat().st_size < 12_000
    journal.end()
    assert found(folder, root).project == now


def test_a_second_editor_is_told_and_keeps_its_own_edits(folder: Path, root: Path) -> None:
    first, project = begun(folder, root)
    second, _ = begun(folder, root)
    assert first.others == ()
    assert second.others == (os.getpid(),)
    third, _ = begun(folder, root)
    assert third.others == (os.getpid(),)  # one program, however many windows it has
    third.end()
    first.record(shifted(project, "pan", 1.0))
    second.record(shifted(project, "pan", 2.0))
    assert recover(folder, laws(), root) is None
    second.end()
    assert found(folder, root).project == shifted(project, "pan", 2.0)
    first.end()


def test_the_lock_of_a_process_that_is_gone_is_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    code = (
        "import os, signal, sys; from pathlib import Path; from sequencer.project.lock import Lock; "
        "held = Lock.take(Path(sys.argv[1])); assert held; print('held', flush=True); signal.pause()"
    )
    child = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    assert child.stdout.readline() == "held\n"
    assert Lock.take(path) is None
    child.kill()
    child.wait()
    child.stdout.close()
    lock = Lock.take(path)
    assert lock is not None
    assert int(path.read_text()) == os.getpid()
    lock.release()


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes everywhere")
def test_a_state_folder_that_cannot_be_written_is_an_error_in_words(folder: Path, tmp_path: Path) -> None:
    root = tmp_path / "closed"
    root.mkdir(mode=0o500)
    with pytest.raises(OSError, match="Permission denied"):
        hold(folder, load(folder, laws()), fingerprint(folder), root)


def test_a_state_folder_that_is_a_file_is_an_error(folder: Path, tmp_path: Path) -> None:
    root = tmp_path / "file"
    root.write_text("in the way")
    with pytest.raises(OSError, match="file"):
        hold(folder, load(folder, laws()), fingerprint(folder), root)


def test_a_journal_of_another_format_has_no_header() -> None:
    with pytest.raises(ProjectError, match="no record of unsaved edits"):
        header(framed(Header("twintake/journal", 1, "", "", "", 0.0)).replace(b"journal", b"journey"))


@pytest.mark.parametrize(
    "record",
    [
        # a key at the instant 1/0; eases whose settings are nested without end
        b"\x95\x01\x91\xa3pan\x91\x92\xa6linear\xc0\x91\x94\xa3pan\x00\x00\x95\x91\x01\x91\x00\x91\xcb"
        + b"\0" * 8
        + b"\x91\x00\x80\xc0",
        b"\x95\x01\x90\x91\x92\xa6linear" + b"\x91" * 3000 + b"\xc0\x90\xc0",
    ],
)
def test_a_step_that_cannot_be_ends_the_reading(record: bytes, folder: Path) -> None:
    reading = Reading(laws(), load(folder, laws()))
    assert not reading.feed(record)
    assert "does not fit" in reading.troubles[0]
    assert reading.newest() is None
