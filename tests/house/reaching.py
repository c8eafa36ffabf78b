"""Which of the values that a function gives to a name can still be there at one of its statements."""

import ast
from collections.abc import Iterator, Sequence

Block = Sequence[ast.stmt]


def blocks(node: ast.AST) -> Iterator[list[ast.stmt]]:
    """Yield the blocks of a statement: its body, what is done else, and what an exception leads to."""
    for name in ("body", "orelse", "finalbody"):
        inside = getattr(node, name, None)
        if isinstance(inside, list) and inside:
            yield inside
    for handler in (*getattr(node, "handlers", ()), *getattr(node, "cases", ())):
        yield handler.body


def way(node: ast.AST, at: ast.stmt) -> list[tuple[Block, int]]:
    """Return the blocks from a function down to one of its statements, with the place in each; empty for none."""
    for block in blocks(node):
        for number, one in enumerate(block):
            if one is at:
                return [(block, number)]
            if deeper := way(one, at):
                return [(block, number), *deeper]
    return []


def reaching(function: ast.FunctionDef, at: ast.stmt, name: str) -> list[ast.Assign | ast.NamedExpr]:
    """Return what may have set a name last before a statement: as far back as something surely set it."""
    found: list[ast.Assign | ast.NamedExpr] = []
    for depth, (block, number) in enumerate(reversed(steps := way(function, at))):
        parent = block[number]
        if depth and isinstance(parent, ast.If | ast.While):
            found += [one for one in ast.walk(parent.test) if isinstance(one, ast.NamedExpr) and one.target.id == name]
        elif depth and isinstance(parent, ast.Try) and _ends_in(parent.handlers, steps[-depth:]):
            found += [one for one in _inside(parent.body) if _sets(one, name)]
        for one in reversed(block[:number]):
            if isinstance(one, ast.Assign) and _sets(one, name):
                return [*found, one]
            for inner in blocks(one):
                if not isinstance(inner[-1], ast.Raise | ast.Return | ast.Continue | ast.Break):
                    found += [each for each in _inside(inner) if _sets(each, name)]
    return found


def _ends_in(handlers: Sequence[ast.ExceptHandler], steps: Sequence[tuple[Block, int]]) -> bool:
    return any(steps[0][0] is handler.body for handler in handlers)


def _inside(block: Block) -> Iterator[ast.Assign | ast.NamedExpr]:
    for one in block:
        for node in ast.walk(one):
            if isinstance(node, ast.Assign | ast.NamedExpr):
                yield node


def _sets(node: ast.Assign | ast.NamedExpr, name: str) -> bool:
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return any(isinstance(one, ast.Name) and one.id == name for target in targets for one in ast.walk(target))
