"""Which sentences that are said while a rig may move were really made in a test run, and which were not."""

import ast
from collections import defaultdict
from collections.abc import Iterable
from typing import Final

from tests.house import noted
from tests.house.messages import messages

# sentences that no test can bring about, by module and template, with the reason
UNREACHED: Final[dict[tuple[str, str], str]] = {}


def places(tree: ast.Module, path: str) -> Iterable[ast.expr]:
    """Return the expressions of a module that make such a sentence."""
    return [one.node for one in messages(tree, path)]


def missing(seen: set[str]) -> list[str]:
    """Return a line for each sentence that was made at none of its places; `seen`: the keys of places that were met."""
    made: dict[str, bool] = defaultdict(bool)
    where: dict[str, str] = {}
    for path, tree in noted.sources():
        for one in messages(tree, path):
            if (path, one.template) in UNREACHED:
                continue
            made[one.template] |= noted.key(path, one.node) in seen
            where.setdefault(one.template, f"{path}:{one.node.lineno}")
    return [f"{where[text]}: no test has this said: {text}" for text, done in made.items() if not done]
