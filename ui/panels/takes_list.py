"""What the panel shows of the takes: those that fit the words of a search, and below them how many and how large.

It refuses to know Qt.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

from sequencer.errors import TakeError
from sequencer.project.library import Filed, Library, found, library, size_words
from ui.language import translate


def listed(folder: Path, known: Iterable[Filed], go_on: Callable[[float], bool]) -> Library:
    """Read what is new or changed in `folder`; the rest is taken from `known`. Stops where `go_on` says so."""
    try:
        return library(folder, known, go_on, removed=False)
    except TakeError as fault:
        return Library(folder=folder, fault=str(fault))


def fitting(there: Library, words: str) -> Library:
    """Return the takes of which all these words are said."""
    return replace(there, takes=found(there.takes, words)) if words.strip() else there


def total(there: Library, shown: Library) -> str:
    """Say how many takes are shown, of how many, how large they are, and what the disk has left."""
    if not there.takes:
        return ""
    circled = sum(one.circled for one in shown.takes)
    if len(shown.takes) == len(there.takes):
        words = translate("takes", "{n} takes, {circled} circled, {size}")
    else:
        words = translate("takes", "{n} of {all} takes, {circled} circled, {size}")
    said = words.format(n=len(shown.takes), all=len(there.takes), circled=circled, size=size_words(shown.bytes))
    if there.free is None:
        return said
    return translate("takes", "{takes}; {free} free on the disk").format(takes=said, free=size_words(there.free))


def why(take: Filed) -> str:
    """Say what is wrong with a take, why it was stopped, and what did not go as it should."""
    return " ".join(dict.fromkeys(one for one in (take.fault, *take.stops, *take.troubles, *take.remarks) if one))
