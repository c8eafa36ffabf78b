"""The JSON Schemas of the files of a project folder, made from the types that read them.

`python -m sequencer.project.schema docs/schema` writes them anew.
"""

import json
import sys
from pathlib import Path
from typing import Any

import msgspec

from sequencer.project.files import ProjectFile
from sequencer.project.rig_file import RigFile


def schemas() -> dict[str, dict[str, Any]]:
    """Return a JSON Schema (draft 2020-12) for each file of the project folder, by the file's name."""
    return {"project.json": _schema(ProjectFile), "rig.json": _schema(RigFile)}


def written() -> dict[str, str]:
    """Return the text of each schema as it stands in docs/schema, by the file's name."""
    return {name: json.dumps(schema, indent=2, ensure_ascii=False) + "\n" for name, schema in schemas().items()}


def _schema(of: type[Any]) -> dict[str, Any]:
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **msgspec.json.schema(of)}


if __name__ == "__main__":
    for name, text in written().items():
        (Path(sys.argv[1]) / name).write_text(text, encoding="utf-8")
