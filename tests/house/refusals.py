"""Writes docs/refusals.md: every error that the program raises on purpose, by the situation in which it is met.

`python -m tests.house.refusals` writes the page anew, and takes off the list of what no test raises yet what is not
there any more. With a file of what a run of all tests noted (`NOTED=FILE pytest`) it writes the list anew as well.
"""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from tests.house.noted import ROOT
from tests.house.raised import Refusal, missing, refusals

PAGE: Final = ROOT / "docs" / "refusals.md"
UNRAISED: Final = Path(__file__).with_name("unraised.txt")

_TOP: Final = """\
# What the program refuses

Every message that refuses something, with what to do next: a file that cannot be used, a port that does not open, an
edit or an option that cannot be meant. What is said while a rig may move stands in [messages.md](messages.md). Words in
CAPITALS stand for names, numbers or the words of another message; "command line: " begins what an option got wrong.

No message takes the place of looking at the rig. Motorised rigs crush, trap and drop things, and a program that refused
something tells nothing of where the rig stands: see [safety.md](safety.md).

This page is made from the program's source (`python -m tests.house.refusals`), and a test compares the two.
"""


@dataclass(frozen=True)
class Situation:
    """Where messages are met: the files that raise them, and what holds for all of them."""

    title: str
    head: str
    files: tuple[str, ...]


SITUATIONS: Final = (
    Situation(
        "Takes, and their files",
        "A take or the log beside it cannot be read, written, compared or copied as it was asked for. No rig is moved "
        "by any of this, and what is on the disk stays as it is; where a take was being recorded, the run goes on "
        "without it and says so. Mend the disk or the name, then do it again; a take that ended early is read up to "
        "its last whole part.",
        (
            *(
                "sequencer/takes/compare",
                "sequencer/takes/pixels",
                "sequencer/project/take",
                "sequencer/project/library",
            ),
            *("sequencer/project/shot_log", "sequencer/project/copying", "sequencer/shell/recorder", "ui/panels/takes"),
        ),
    ),
    Situation(
        "Music, sound and tempo",
        "Music, a sound device or a tempo cannot be used as it is described. Nothing has been started by it: a rig "
        "that is armed waits, and one that runs goes on by the clock that it has, or stops as its source of time is "
        "lost. Put the device or the file right, and open it again; a project without its music still opens.",
        (
            *(
                "sequencer/music/grid",
                "sequencer/music/onsets",
                "sequencer/timebase/tempo",
                "sequencer/project/audiofile",
            ),
            *("sequencer/adapters/audio_ports", "sequencer/adapters/sources/file", "sequencer/adapters/sources/ltc_in"),
            *("sequencer/project/build_tempo", "ui/panels/music", "ui/acts/grids", "sequencer/cli/tempo"),
        ),
    ),
    Situation(
        "Project and rig files",
        "A file of the project cannot be used as it is, or not be saved. Nothing has been started: whatever the rig "
        "did before, it does still, and the file on the disk is as it was. Correct the named place in the file, or "
        "take the last good one (FILE.bak); a project that is open in the editor loses nothing meanwhile.",
        ("sequencer/project", "sequencer/rig", "sequencer/timebase", "ui/acts/disk", "ui/panels/first_run"),
    ),
    Situation(
        "Edits, and moves that are made",
        "An edit, a repair or a move between places was asked for that cannot be. The move is as it was, and so is "
        "the rig: an edit moves no motor, and what was sent before goes on. Choose other keys, numbers or another "
        "way, as the message says, and do it again.",
        ("sequencer/score", "sequencer/motion", "ui/acts", "sequencer/playback"),
    ),
    Situation(
        "Hands, homing and what is measured of the rig",
        "Driving, homing or measuring an axis cannot begin, or its answer cannot be used. No axis has been set in "
        "motion by it, and one that was moving goes on only while a control is held, or until its step is done. Look "
        "at the rig before the next try: clear its whole way, and have somebody at the hard-wired stop.",
        (
            "sequencer/live",
            "sequencer/takes/trials",
            "sequencer/shell/homing",
            "sequencer/shell/travel",
            "sequencer/shell/trials",
        ),
    ),
    Situation(
        "Devices that speak the device protocol",
        "A device does not answer as its protocol has it, or has lost its place. Before a run nothing goes out to it; "
        "in a run the stop is latched, no setpoint goes out any more, and the device brakes by its own means if it "
        "was built to. Look where its axes stand before you reset: a device that was reset may count from elsewhere.",
        ("sequencer/adapters/device_host", "sequencer/takes/conformance", "sequencer/shell/conformance"),
    ),
    Situation(
        "Ports, links and outputs",
        "A port, an address or a link cannot be opened, or went away. Before a run nothing has been sent; in a run "
        "the loss of an output stops the rig, latched, or is waited out as its `on_loss` says, and the link is looked "
        "for all the time. Correct the address, the cable or the power; nothing moves before Reset once the link is "
        "back.",
        (
            *("sequencer/adapters", "sequencer/sync", "sequencer/wire", "ui/link", "sequencer/shell/outlets"),
            *("sequencer/shell/kinds", "sequencer/shell/giver", "sequencer/shell/loopback", "sequencer/shell/listen"),
            *("sequencer/shell/pad_watch", "sequencer/shell/masters"),
        ),
    ),
    Situation(
        "What is taken from other programs' files",
        "A file from elsewhere cannot be taken, or not as a whole. The project is as it was: nothing of the file is "
        "in it, and the file itself is only read. Export it again as the message says, or take less of it.",
        (
            *(
                "sequencer/export/imports",
                "sequencer/export/gltf_",
                "sequencer/export/usd_read",
                "sequencer/export/otio_read",
            ),
            *("sequencer/export/edit_list", "sequencer/export/otio_library", "sequencer/shell/import_file"),
            *("sequencer/shell/cut_in", "sequencer/music/smf", "sequencer/cli/import"),
        ),
    ),
    Situation(
        "What is handed over",
        "A camera path, a report or another document cannot be made as it was asked for, or not be written there. "
        "What stood in its place stands there still, and the project and its takes are as they were. Name another "
        "file, source or frame, and hand it over again.",
        (
            "sequencer/export",
            "sequencer/shell/handover",
            "sequencer/shell/prepared",
            "ui/acts/handing",
            "ui/panels/hand_over",
        ),
    ),
    Situation(
        "The processes of a run",
        "A process of the program did not start, ended, or did not do in time what it was told. The engine brakes the "
        "rig where it still can, and the watchdog tells the rig to stop where it cannot; what was recorded is on the "
        "disk. Look at the rig first, then start anew; a machine that is very busy is no machine to run a rig with.",
        ("sequencer/shell",),
    ),
    Situation(
        "The command line",
        "An option or its value cannot be meant. Nothing was started and nothing was written. Write it as the message "
        "says; `twintake COMMAND --help` lists what there is.",
        ("sequencer/cli",),
    ),
    Situation(
        "What is typed in the editor",
        "What stands in a field cannot be read, or does not fit there. The project keeps the value that it had, and "
        "the rig is not told of it. Write it as the message says; Escape puts the old value back.",
        ("ui",),
    ),
)


def situation(one: Refusal) -> Situation:
    """Return where a refusal is met: by the longest part of its file's name that a situation has."""
    fitting = [(len(begins), found) for found in SITUATIONS for begins in found.files if one.path.startswith(begins)]
    return max(fitting, key=lambda pair: pair[0])[1]


def page() -> str:
    """Return the page as it ought to stand in docs/."""
    tables: dict[str, dict[str, str]] = {found.title: {} for found in SITUATIONS}
    for one in refusals():
        said = one.words.removesuffix(one.mend).removesuffix(" ").removesuffix(";") if one.mend else one.words
        mend = one.mend or f"({one.mendless})"
        tables[situation(one).title][_cell(said) or _cell(one.words)] = _cell(mend)
    parts = [_TOP]
    for found in SITUATIONS:
        rows = sorted(tables[found.title].items(), key=lambda row: row[0].strip("'“").casefold())
        listed = "\n".join(f"| {said} | {mend} |" for said, mend in rows)
        parts.append(f"## {found.title}\n{found.head}\n\n| message | what to do next |\n|---|---|\n{listed}\n")
    return "\n".join(parts)


def _cell(words: str) -> str:
    plain = words.replace("\n", " ").replace("|", "\\|").replace("<", "\\<").replace("*", "\\*").replace("_", "\\_")
    return plain.strip()


def listed(unraised: list[Refusal]) -> list[str]:
    """Return refusals as lines of the list of what no test raises yet: the file, and the message."""
    return sorted({f"{one.path} | {one.words}" for one in unraised})


def known() -> set[str]:
    """Return the list of what no test raises yet."""
    return set(UNRAISED.read_text(encoding="utf-8").splitlines())


def unheard(noted: set[str]) -> list[str]:
    """Return what a run of all tests never raised, and no list excuses."""
    return [line for line in listed(missing(noted)) if line not in known()]


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    left = set(listed(refusals())) & known()
    if len(sys.argv) > 1:
        left = set(listed(missing(set(Path(sys.argv[1]).read_text(encoding="utf-8").splitlines()))))
    UNRAISED.write_text("".join(f"{line}\n" for line in sorted(left)), encoding="utf-8")
