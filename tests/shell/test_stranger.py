"""Standing in a folder that a stranger sent: none of its code is run, and nothing is connected to or written for it."""

import json
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from unittest.mock import Mock

import pytest

from sequencer.errors import LinkError, ProjectError
from sequencer.project.store import load
from sequencer.rig.axis import Homing
from sequencer.rig.outlet import Outlet
from sequencer.shell import crew, homing, timelapse, travel, trials
from sequencer.shell.companion import companion
from sequencer.shell.kinds import NO_PROJECT, laws
from sequencer.shell.outlets import parts, without_files
from sequencer.takes.trials.steps import Most
from tests.shell.small import small_project
from tests.shell.test_outlets import RIG

PATIENCE_S = 120
MODULES = ("numpy", "msgspec", "mido", "typer", "rich", "serial", "soundfile", "sounddevice", "sdl2", "ui", "evil")
TRAP = "import pathlib, sys\npathlib.Path(__file__).with_name('ran-' + __name__).touch()\nraise SystemExit(77)\n"
OURS = [*crew.ROLES.values(), *crew.GIVER.values()]
BESIDE = [f"sequencer.shell.{name}" for name in ("simulated_rig", "timecode_sender", "pad_watch", "slate_sound")]


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """A project folder with modules called as those that this program needs, and one that says it extends it."""
    folder = small_project(tmp_path / "hostile")
    for name in MODULES:
        (folder / f"{name}.py").write_text(TRAP, encoding="utf-8")
    about = folder / "evil-1.0.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: evil\nVersion: 1.0\n", encoding="utf-8")
    groups = ("outputs", "sources", "controllers", "exports", "imports", "laws", "editor")
    points = "".join(f"[twintake.{group}]\nevil = evil:KIND\n" for group in groups)
    (about / "entry_points.txt").write_text(points, encoding="utf-8")
    settings = "backend: module://evil\ntext.usetex: True\nlines.linestyle: dotted\n"
    (folder / "matplotlibrc").write_text(settings, encoding="utf-8")
    return folder


def ran(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.glob("ran-*"))


def command(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], cwd=folder, capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )


@pytest.mark.real_time
def test_the_trap_shuts_on_who_takes_modules_from_where_one_stands(hostile: Path) -> None:
    command(hostile, "-m", "sequencer.shell.watchdog", "nowhere")
    assert ran(hostile)


@pytest.mark.real_time
@pytest.mark.parametrize("module", OURS)
def test_a_process_of_a_run_takes_nothing_from_where_one_stands(
    hostile: Path, monkeypatch: pytest.MonkeyPatch, module: str
) -> None:
    monkeypatch.chdir(hostile)
    process = crew._start(module, "nowhere")
    assert process.wait(PATIENCE_S) == 1  # there is no such run
    assert ran(hostile) == []


@pytest.mark.real_time
@pytest.mark.parametrize("module", BESIDE)
def test_a_process_beside_a_run_takes_nothing_from_where_one_stands(
    hostile: Path, monkeypatch: pytest.MonkeyPatch, module: str
) -> None:
    monkeypatch.chdir(hostile)
    with companion("one beside", module, "--nothing-like-that") as beside, pytest.raises(LinkError, match="ended"):
        beside.wait_for("what is never said")
    assert ran(hostile) == []


@pytest.mark.real_time
@pytest.mark.parametrize("words", ["check .", "ports --json", "library .", "export . --to csv"])
def test_the_command_takes_nothing_from_where_one_stands(hostile: Path, words: str) -> None:
    done = command(hostile, "-m", "sequencer", *words.split())
    assert (done.returncode, ran(hostile)) == (0, []), done.stderr
    assert "evil" not in done.stdout


@pytest.mark.real_time
def test_a_drawing_obeys_no_settings_of_where_one_stands(hostile: Path) -> None:
    words = ("prep", ".", "--reach-m", "1", "-o", "sheet.html")
    done = command(hostile, "-m", "sequencer", *words)
    assert (done.returncode, ran(hostile)) == (0, []), done.stderr
    elsewhere = small_project(hostile.parent / "elsewhere")
    again = command(elsewhere, "-m", "sequencer", *words)
    assert again.returncode == 0, again.stderr
    drawn, wanted = ((folder / "sheet.html").read_text(encoding="utf-8") for folder in (hostile, elsewhere))
    assert "<svg" in wanted
    assert drawn[drawn.index("<svg") :].partition("</svg>")[0] == wanted[wanted.index("<svg") :].partition("</svg>")[0]


# what rig.json names


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as there:
        there.bind(("127.0.0.1", 0))
        there.setblocking(False)
        yield there


@pytest.mark.real_time
@pytest.mark.parametrize(
    "words",
    [
        ("check",),
        ("export", "--to", "csv", "-o", "out.csv"),
        ("library",),
        ("passes",),
        ("prep", "--reach-m", "1", "-o", "sheet.html"),
    ],
)
def test_who_only_looks_at_a_project_connects_to_nothing(
    tmp_path: Path, listener: socket.socket, words: tuple[str, ...]
) -> None:
    folder = small_project(tmp_path / "small")
    rig = json.loads((folder / "rig.json").read_text(encoding="utf-8"))
    rig["outputs"] = [{"address": f"osc://127.0.0.1:{listener.getsockname()[1]}"}, {"address": "csv:told.csv"}]
    (folder / "rig.json").write_text(json.dumps(rig), encoding="utf-8")
    name, *more = words
    done = command(tmp_path, "-m", "sequencer", name, str(folder), *more)
    assert done.returncode == 0, done.stderr
    with pytest.raises(BlockingIOError):
        listener.recv(1)
    assert not list(folder.glob("told*"))


@pytest.mark.parametrize(
    "address", ["csv:/tmp/x.csv", "csv:///tmp/x.csv", "mcap:../x.mcap", "csv:out/x.csv", "csv:%2e%2e/x.csv"]
)
def test_a_rig_file_has_no_file_written_outside_of_its_folder(tmp_path: Path, address: str) -> None:
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "out").symlink_to(tmp_path)
    rig = replace(RIG, outlets=(Outlet(address="osc://127.0.0.1:9"), Outlet(address=address)))
    with pytest.raises(ProjectError, match=r"leads out of the project folder; write its path within .* --out"):
        parts("", rig, folder)
    # the operator's own word
    assert parts(f"osc://127.0.0.1:9;{address}", rig, folder)[1].outlet.address == address


def test_a_file_of_the_rig_lies_in_its_folder_wherever_one_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "a project?"
    folder.mkdir()
    monkeypatch.chdir(tmp_path)
    rig = replace(RIG, outlets=(Outlet(address="osc://127.0.0.1:9"), Outlet(address="csv:told.csv")))
    served = parts("", rig, Path("a project?"))[1]
    with served.kind.open(served.outlet.address, served.rig, NO_PROJECT):
        pass
    assert os.listdir(folder) == ["told.csv"]


def search(ground: trials.Ground, places: dict[str, float]) -> None:
    homing.search(ground, ground.project.rig.axes[0], places, print)


def travel_of(ground: trials.Ground, places: dict[str, float]) -> None:
    travel.driven(ground, "pan", places, 1.0, print)


def where(ground: trials.Ground, _: dict[str, float]) -> None:
    trials.stands(ground)


def trial(ground: trials.Ground, places: dict[str, float]) -> None:
    trials.run_course(ground, "pan", Most(speed=6.0, acceleration=24.0, begin=1.0), places, Mock())


def lapse(ground: trials.Ground, _: dict[str, float]) -> None:
    with timelapse.ground(Mock(project=ground.project)) as folder:
        shutil.copytree(folder, ground.folder)
    raise crew.CrewFailed("not here")


@pytest.mark.parametrize("does", [search, travel_of, where, trial, lapse])
def test_what_is_done_beside_a_run_writes_no_file_of_the_rig(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, does: Callable[[trials.Ground, dict[str, float]], None]
) -> None:
    """It starts often, in a folder that is gone afterwards; a second start would find the file there."""
    project = load(small_project(tmp_path / "small"), laws())
    axes = (replace(project.rig.axes[0], homing=Homing(towards="low", speed=1.0, at=-5.0)), *project.rig.axes[1:])
    outlets = (Outlet(address="osc://127.0.0.1:9"), Outlet(address="csv:told.csv"))
    project = replace(project, rig=replace(project.rig, axes=axes, outlets=outlets))
    for module in (homing, travel, trials):
        monkeypatch.setattr(module, "crew", Mock(side_effect=crew.CrewFailed("not here")))
    ground = trials.Ground(project=project, output="", folder=tmp_path / "ours", takes=tmp_path / "takes")
    with pytest.raises(crew.CrewFailed):
        does(ground, dict.fromkeys(project.rig.names, 0.0))
    assert load(ground.folder, laws()).rig.outlets == outlets[:1]


def test_a_rig_with_nothing_but_files_keeps_them() -> None:
    files = replace(RIG, outlets=(Outlet(address="csv:told.csv"),))
    assert without_files(files) == files
    unknown = replace(RIG, outlets=(Outlet(address="nothing:there"), *files.outlets))
    assert without_files(unknown).outlets == unknown.outlets[:1]
