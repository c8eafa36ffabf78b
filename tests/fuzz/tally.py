"""What was fuzzed so far: the inputs of each target, for as long as the source files that they ran through stay.

It is kept outside the repository, with the inputs that grow from evening to evening beside it.
"""

from pathlib import Path

import msgspec
import platformdirs

from tests.fuzz.sources import hashes


class Tried(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What was done with one target, and the hash of each source file that its inputs ran through."""

    inputs: int = 0
    seconds: int = 0
    sources: dict[str, str] = {}

    @property
    def a_second(self) -> float | None:
        """How many inputs a second; None where nobody knows yet."""
        return self.inputs / self.seconds if self.inputs and self.seconds else None


class _File(msgspec.Struct, forbid_unknown_fields=True):
    targets: dict[str, Tried] = {}


def usual() -> Path:
    """Return where the tally is kept unless somebody names another file."""
    return platformdirs.user_cache_path("twintake") / "fuzz" / "tally.json"


class Tally:
    """The file, by the names of targets. Error: ValueError where it is none of ours."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            self._file = msgspec.json.decode(path.read_bytes(), type=_File)
        except FileNotFoundError:
            self._file = _File()
        except (msgspec.MsgspecError, UnicodeDecodeError) as fault:
            raise ValueError(f"{path} is no tally of fuzzing ({fault}); name another file, or delete it") from fault

    def of(self, name: str) -> Tried:
        """Return what counts of a target: nothing, once a source file that its inputs ran through is another."""
        tried = self._file.targets.get(name, Tried())
        return tried if hashes(tried.sources) == tried.sources else Tried()

    def add(self, name: str, ran: Tried) -> bool:
        """Count a run in, and write the file; return whether it counts: not where its sources changed meanwhile."""
        if hashes(ran.sources) != ran.sources:
            return False
        before = self.of(name)
        self._file.targets[name] = Tried(
            inputs=before.inputs + ran.inputs,
            seconds=before.seconds + ran.seconds,
            sources=before.sources | ran.sources,
        )
        self.path.parent.mkdir(parents=True, exist_ok=True)
        part = self.path.with_name(f"{self.path.name}.part")
        part.write_bytes(msgspec.json.format(msgspec.json.encode(self._file, order="sorted"), indent=1))
        part.replace(self.path)
        return True

    def grown(self, name: str) -> Path:
        """Return the folder in which the inputs of a target grow."""
        folder = self.path.with_suffix("") / name
        folder.mkdir(parents=True, exist_ok=True)
        return folder
