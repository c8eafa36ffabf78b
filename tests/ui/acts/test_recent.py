"""The list of recent projects."""

import shutil
from pathlib import Path

from ui.acts.recent import opened, recent


def test_it_survives_nonsense_and_leaves_out_what_is_gone(tmp_path: Path) -> None:
    other = Path(shutil.copytree("projects/paper-boats", tmp_path / "boats"))
    (tmp_path / "recent.json").write_text("{nonsense")
    assert recent(tmp_path) == ()
    opened(other, tmp_path)
    opened(tmp_path / "gone", tmp_path)
    assert recent(tmp_path) == (other.resolve(),)
