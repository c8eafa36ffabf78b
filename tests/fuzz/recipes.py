"""Changes to a document that is right, as bytes spell them: what random text would never reach behind a strict reader.

Each change is four bytes: two for the place, one for what is done there, one for what stands there then.
"""

from typing import Any

_ODD: tuple[Any, ...] = (
    None,
    True,
    False,
    0,
    1,
    -1,
    2,
    255,
    2**31,
    -(2**63),
    2**64,
    10**400,
    0.0,
    -0.0,
    0.5,
    1e-320,
    1e18,
    -1e308,
    1e308,
    "",
    "0",
    "-1",
    "1/0",
    "1/3",
    "inf",
    "nan",
    "30000/1001",
    "10:00:00:00",
    "10:00:01;02",
    "99:99:99:99",
    "+0.5 s",
    "bar 2",
    "pan",
    "x" * 300,
    "\0",
    "é\N{COMBINING ACUTE ACCENT}\u202e",
    "../../outside",
    "٣",
    [],
    {},
    [[]],
    [None],
    [0, 0],
    ["", ""],
    {"": ""},
    {"name": "pan"},
)
Path = tuple[Any, ...]


def places(tree: Any) -> list[Path]:
    """Return the way to each part of a document, in order."""
    found: list[Path] = []

    def walk(part: Any, way: Path) -> None:
        for name, item in part.items() if isinstance(part, dict) else enumerate(part):
            here = (*way, name)
            found.append(here)
            if isinstance(item, dict | list):
                walk(item, here)

    if isinstance(tree, dict | list):
        walk(tree, ())
    return found


def changed(tree: Any, recipe: bytes) -> Any:
    """Return another document, with the changes that `recipe` spells."""
    tree = _copied(tree)
    for at in range(0, len(recipe) - 3, 4):
        ways = places(tree)
        if not ways or len(ways) > 5000:
            break
        way = ways[int.from_bytes(recipe[at : at + 2], "big") % len(ways)]
        _change(tree, way, recipe[at + 2], recipe[at + 3], ways)
    return tree


def _change(tree: Any, way: Path, deed: int, what: int, ways: list[Path]) -> None:
    holder, name = _at(tree, way[:-1]), way[-1]
    old = holder[name]
    match deed % 8:
        case 0 | 1:
            holder[name] = _copied(_ODD[what % len(_ODD)])
        case 2:
            del holder[name]
        case 3:
            holder[name] = _copied(_at(tree, ways[(what * 37 + deed) % len(ways)]))
        case 4 if isinstance(old, list):
            old *= 2 + what % 3
        case 5 if isinstance(old, list):
            old.reverse()
        case 4 | 5 if isinstance(holder, dict):
            holder[f"{name}{what % 4}"] = _copied(old)
        case 6 if isinstance(old, int | float) and not isinstance(old, bool):
            holder[name] = _other(old, what)
        case 7 if isinstance(old, str) and old:
            place = what % len(old)
            holder[name] = old[:place] + chr(32 + (what * 7 + deed) % 95) + old[place + 1 :]
        case _:
            holder[name] = [old]


def _copied(tree: Any) -> Any:
    """Return the document once more; text and numbers are shared. Less than the library's copy, and quicker."""
    if isinstance(tree, dict):
        return {name: _copied(item) for name, item in tree.items()}
    return [_copied(item) for item in tree] if isinstance(tree, list) else tree


def _other(number: float, what: int) -> float:
    steps: tuple[float, ...] = (1, -1, number, -number, 2 * abs(number) + 1, 0.1)
    try:
        return number - steps[what % len(steps)]
    except OverflowError:
        return -number


def _at(tree: Any, way: Path) -> Any:
    for name in way:
        tree = tree[name]
    return tree
