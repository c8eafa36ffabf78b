"""What the page of what is handed over calls the options of the command: a fault names what is in sight.

It refuses to reword a fault otherwise.
"""

import re

from sequencer.errors import ProjectError
from ui.language import translate

_OPTION = re.compile(r"--[a-z-]+(?: (?:time|frames|world|start)\b)?(?: FILE\b)?")


def labels() -> dict[str, str]:
    """Return the label of each option's field."""
    return {
        "--anyway": translate("hand over", "Take it"),
        "--at": translate("hand over", "Begins at"),
        "--axis": translate("hand over", "Axes"),
        "--camera": translate("hand over", "Camera"),
        "--convert": translate("hand over", "Other frame rate"),
        "--convert frames": translate("hand over", "keep frame for frame"),
        "--convert time": translate("hand over", "keep its time"),
        "--cue": translate("hand over", "Cue"),
        "--cues": translate("hand over", "Shots as cues"),
        "--first": translate("hand over", "First frame"),
        "--follow-shake": translate("hand over", "Follow shake"),
        "--force": translate("hand over", "Replace"),
        "--from": translate("hand over", "From frame"),
        "--offset": translate("hand over", "Later by"),
        "--pass": translate("hand over", "Pass"),
        "--place": translate("hand over", "Start of playback"),
        "--place start": translate("hand over", "where the rig stands"),
        "--place world": translate("hand over", "as its world has it"),
        "--rate": translate("hand over", "Its frame rate"),
        "--reach-m": translate("hand over", "Reach"),
        "--replace": translate("hand over", "Replace keys"),
        "--samples": translate("hand over", "Samples a frame"),
        "--scale": translate("hand over", "Scale"),
        "--shutter": translate("hand over", "Shutter"),
        "--shutter-from": translate("hand over", "It is open"),
        "--take": translate("hand over", "What"),
        "--tempo": translate("hand over", "Tempo"),
        "--time-scale": translate("hand over", "Lasts"),
        "--timelapse": translate("hand over", "What"),
        "--to": translate("hand over", "To frame"),
        "--turn": translate("hand over", "Turn"),
        "--within": translate("hand over", "Within"),
        "--within-px": translate("hand over", "Within"),
    }


def in_sight(words: str) -> str:
    """Return the words with the labels of fields in the place of the command's options."""
    known = labels()

    def named(found: re.Match[str]) -> str:
        text = found[0]
        for option in (text, text.removesuffix(" FILE"), text.partition(" ")[0]):
            if option in known:
                rest = text[len(option) :].removesuffix(" FILE")
                return f"“{known[option]}”{rest}"
        return text

    return _OPTION.sub(named, words)


def fault_words(fault: Exception) -> str:
    """Return a fault for the page: without the place in a file or on a command line that it has not."""
    if isinstance(fault, ProjectError) and fault.file == "command line":
        return in_sight(f"{fault.what}{f'; {fault.mend}' if fault.mend else ''}")
    return in_sight(str(fault))
