"""Reads from the source which words an expression makes; what is filled in only when it runs stands in CAPITALS.

A name is looked up in its function, then in its module; the words of a function are those that it returns. What cannot
be known without running it is named after the expression that fills it in.
"""

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import islice, product
from typing import Final

from tests.house.noted import key
from tests.house.reaching import reaching

MOST: Final = 24  # ways in which one expression can turn out, of which all are told
_DEEP: Final = 5
_PLAIN = frozenset(("name", "value", "text", "stem", "title"))
_FIELD = re.compile(r"\{\{|\}\}|\{([^{}:!]*)[^{}]*\}")


@dataclass(frozen=True)
class Told:
    """Words, and the places that all have to be come by for them to be said."""

    words: str
    places: frozenset[str] = frozenset()
    known: bool = True


@dataclass(frozen=True)
class Module:
    """One file of the program: its functions by their bare name, its constants, and what it takes from elsewhere."""

    path: str
    tree: ast.Module

    @cached_property
    def functions(self) -> dict[str, ast.FunctionDef]:
        """Return every function and method by its name."""
        return {node.name: node for node in ast.walk(self.tree) if isinstance(node, ast.FunctionDef)}

    @cached_property
    def constants(self) -> dict[str, ast.expr]:
        """Return what is given a name at the level of the module."""
        found: dict[str, ast.expr] = {}
        for node in self.tree.body:
            if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) and node.value is not None:
                found[node.target.id] = node.value
            if isinstance(node, ast.Assign):
                found |= {one.id: node.value for one in node.targets if isinstance(one, ast.Name)}
        return found

    @cached_property
    def imports(self) -> dict[str, tuple[str, str]]:
        """Return for each imported name the module that it comes from, and its name there."""
        return {
            one.asname or one.name: (node.module, one.name)
            for node in ast.walk(self.tree)
            if isinstance(node, ast.ImportFrom) and node.module
            for one in node.names
        }


@dataclass(frozen=True)
class Scope:
    """Where an expression stands: its module and function, and what the names of that function's arguments are."""

    program: Mapping[str, Module]
    module: Module
    function: ast.FunctionDef | None = None
    given: Mapping[str, list[Told]] = field(default_factory=dict)
    depth: int = 0
    at: ast.stmt | None = None

    def elsewhere(self, name: str) -> tuple[Module, str] | None:
        """Return the module, and the name in it, from which a name was imported; "" for the module itself."""
        module, there = self.module.imports.get(name, ("", ""))
        for dotted, own in ((f"{module}.{there}", ""), (module, there)):
            found = self.program.get(dotted.replace(".", "/") + ".py")
            if found is not None:
                return found, own
        return None

    def called(self, call: ast.expr) -> tuple["Scope", ast.FunctionDef] | None:
        """Return the function that is called, where it is one of ours and can be found."""
        module, name = self.module, ""
        if isinstance(call, ast.Name):
            name = call.id
            if name not in module.functions and (found := self.elsewhere(name)) is not None:
                module, name = found[0], found[1]
        elif isinstance(call, ast.Attribute) and isinstance(call.value, ast.Name):
            name = call.attr
            if call.value.id not in ("self", "cls"):
                found = self.elsewhere(call.value.id)
                if found is None or found[1]:
                    return None
                module = found[0]
        function = module.functions.get(name)
        return None if function is None else (Scope(self.program, module, function, {}, self.depth + 1), function)

    def setting(self, name: str) -> list[ast.Assign | ast.NamedExpr]:
        """Return what sets a name of the function, as far as it can be so where the expression stands."""
        if self.function is None:
            return []
        if self.at is not None:
            return reaching(self.function, self.at, name)
        every = [node for node in ast.walk(self.function) if isinstance(node, ast.Assign | ast.NamedExpr)]
        return [node for node in every if name in bound_by(node)]

    def values(self, name: str) -> list[ast.expr]:
        """Return everything that a name is set to: in its function, or else in its module, or where it comes from."""
        if self.function is not None:
            here = [node.value for node in self.setting(name) if not isinstance(node, ast.Assign) or plain(node)]
            if here or name in arguments(self.function) or name in filled(self.function):
                return [] if name in filled(self.function) else here
        if name in self.module.constants:
            return [self.module.constants[name]]
        found = self.elsewhere(name)
        return [found[0].constants[found[1]]] if found and found[1] in found[0].constants else []


def arguments(function: ast.FunctionDef) -> list[str]:
    """Return the names of a function's arguments, without that of the object itself."""
    every = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
    return [one.arg for one in every if one.arg not in ("self", "cls")]


def bound_by(node: ast.Assign | ast.NamedExpr) -> set[str]:
    """Return the names that an assignment sets."""
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return {one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)}


def plain(node: ast.Assign) -> bool:
    """Say whether an assignment sets names to its value as it is, none to a part of it."""
    return all(isinstance(target, ast.Name) for target in node.targets)


def filled(function: ast.FunctionDef) -> set[str]:
    """Return the names that a loop or an `except` fills in."""
    loops = [node.target for node in ast.walk(function) if isinstance(node, ast.For | ast.comprehension)]
    names = {one.id for target in loops for one in ast.walk(target) if isinstance(one, ast.Name)}
    return names | {node.name for node in ast.walk(function) if isinstance(node, ast.ExceptHandler) and node.name}


def alternatives(node: ast.expr, scope: Scope) -> list[ast.expr]:
    """Return the expressions that a choice can turn out as: of an `if`, of a table that is looked up."""
    if isinstance(node, ast.IfExp):
        return alternatives(node.body, scope) + alternatives(node.orelse, scope)
    table, rest = None, []
    if isinstance(node, ast.Subscript):
        table = node.value
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "get":
        table, rest = node.func.value, list(node.args[1:])
    if isinstance(table, ast.Name) and len(found := scope.values(table.id)) == 1:
        if isinstance(found[0], ast.Call) and found[0].args:
            found = [found[0].args[0]]
        if isinstance(found[0], ast.Dict):
            return [one for value in found[0].values + rest for one in alternatives(value, scope)]
    return [node]


def hole(node: ast.expr) -> str:  # noqa: PLR0912  # a case for each kind of expression
    """Return the name, in capitals, of what an expression fills in."""
    while True:
        match node:
            case ast.Attribute(value=ast.Name(id=name), attr=attr) if attr in _PLAIN and name != "self":
                return name.strip("_").upper()
            case ast.Attribute(attr=attr):
                return attr.strip("_").upper()
            case ast.Name(id=name):
                return name.strip("_").upper()
            case ast.Call(func=ast.Name(id="len")):
                return "N"
            case ast.Call(args=[first, *_]) if not isinstance(first, ast.Constant):
                node = first
            case ast.Call(func=func):
                node = func.value if isinstance(func, ast.Attribute) and not isinstance(func.value, ast.Name) else func
            case ast.Subscript(value=value) | ast.UnaryOp(operand=value) | ast.Starred(value=value):
                node = value
            case ast.BinOp(left=left, right=right):
                node = right if isinstance(left, ast.Constant) else left
            case ast.GeneratorExp(elt=value) | ast.ListComp(elt=value) | ast.FormattedValue(value=value):
                node = value
            case ast.BoolOp(values=[first, *_]):
                node = first
            case ast.IfExp(body=body):
                node = body
            case ast.JoinedStr(values=values):
                holes = [one for one in values if isinstance(one, ast.FormattedValue)]
                if not holes:
                    return "WORDS"
                node = holes[0]
            case _:
                return "WORDS"


def told(node: ast.expr, scope: Scope) -> list[Told]:
    """Return everything that an expression can say."""
    return list(islice(_told(node, scope), MOST)) or [Told(hole(node), known=False)]


def _told(node: ast.expr, scope: Scope) -> Iterator[Told]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield Told(node.value)
    elif isinstance(node, ast.JoinedStr):
        yield from _joined([_piece(one, scope) for one in node.values])
    elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        yield from _joined([told(node.left, scope), told(node.right, scope)])
    elif isinstance(node, ast.Name):
        yield from _named(node.id, scope)
    elif isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        found = scope.elsewhere(node.value.id)
        if found is not None and not found[1] and node.attr in found[0].constants:
            yield from told(found[0].constants[node.attr], Scope(scope.program, found[0]))
    elif isinstance(node, ast.Call):
        yield from _of_call(node, scope)
    elif (choice := alternatives(node, scope)) != [node]:
        for one in choice:
            # a table of the module is evaluated once, when it is loaded: which entry was said is not seen
            seen = frozenset([key(scope.module.path, one)]) if isinstance(node, ast.IfExp) else frozenset()
            yield from (Told(each.words, each.places | seen, each.known) for each in told(one, scope))


def _joined(pieces: list[list[Told]]) -> Iterator[Told]:
    for row in product(*pieces):
        places = frozenset(place for one in row for place in one.places)
        yield Told("".join(one.words for one in row), places, any(one.known and one.words.strip() for one in row))


def _piece(node: ast.expr, scope: Scope) -> list[Told]:
    """Return what a piece of an f-string says: words that are chosen there, or the name of what is filled in."""
    if not isinstance(node, ast.FormattedValue):
        return told(node, scope)
    quoted = "'{}'" if node.conversion == ord("r") else "{}"
    inside = node.value
    if isinstance(inside, ast.IfExp):
        both = [[one.words for one in told(part, scope) if one.known] for part in (inside.body, inside.orelse)]
        words = [part[0] if len(part) == 1 else None for part in both]
        if words[1] == "" or words[0] == "":
            return [Told(quoted.format(words[0] or words[1] or hole(inside)))]
        if None not in words:
            return [Told(quoted.format(f"{words[0]}/{words[1]}"))]
        return [Told(quoted.format(hole(inside)), known=False)]
    if isinstance(inside, ast.Name | ast.Attribute | ast.Subscript) or _is_words(inside):
        found = [one for one in told(inside, scope) if one.known]
        if found and (len(found) == 1 or all(" " in one.words for one in found)):
            return [Told(quoted.format(one.words), one.places) for one in found]
    return [Told(quoted.format(hole(inside)), known=False)]


def _is_words(node: ast.expr) -> bool:
    return isinstance(node, ast.Call) and (_plainly(node.func) or hole(node.func) == "TRANSLATE")


def _plainly(node: ast.expr) -> bool:
    """Say whether a function hands on its words as they are, but for signs that no screen shows."""
    return hole(node) in ("PRINTABLE", "PLAIN", "STR")


def _named(name: str, scope: Scope) -> Iterator[Told]:
    if name in scope.given:
        yield from scope.given[name]
        return
    if scope.depth > _DEEP:
        return
    here = bool(scope.setting(name))
    deeper = Scope(scope.program, scope.module, scope.function, scope.given, scope.depth + 1, scope.at)
    for value in scope.values(name):
        if isinstance(value, ast.Constant) and not isinstance(value.value, str):
            continue
        for one in told(value, deeper):
            if one.known:
                seen = frozenset([key(scope.module.path, value)]) if here else frozenset()
                yield Told(one.words, one.places | seen)


def _of_call(node: ast.Call, scope: Scope) -> Iterator[Told]:
    func = node.func
    if isinstance(func, ast.Name) and func.id == "translate":
        yield from told(node.args[1], scope)
    elif isinstance(func, ast.Name | ast.Attribute) and _plainly(func):
        yield from (one for one in told(node.args[0], scope) if one.known)
    elif isinstance(func, ast.Attribute) and func.attr == "format":
        yield from (_filled(one, node, scope) for one in told(func.value, scope) if one.known)
    elif (choice := alternatives(node, scope)) != [node]:
        for one in choice:
            yield from told(one, scope)
    elif scope.depth < _DEEP and (found := scope.called(func)) is not None:
        inner, function = found
        yield from _returned(inner, function, bound(node, function, scope))
    elif len(node.args) == 1 and not (isinstance(func, ast.Attribute) and func.attr == "join"):
        yield from (one for one in told(node.args[0], scope) if one.known)


def _filled(one: Told, call: ast.Call, scope: Scope) -> Told:
    named = {word.arg: told(word.value, scope) for word in call.keywords if word.arg}

    def fill(found: re.Match[str]) -> str:
        if found[1] is None:
            return found[0][0]
        words = named.get(found[1], [])
        known = len(words) == 1 and words[0].known
        return words[0].words if known else found[1].upper() or "WORDS"

    return Told(_FIELD.sub(fill, one.words), one.places)


def bound(call: ast.Call, function: ast.FunctionDef, scope: Scope) -> dict[str, list[Told]]:
    """Return what a call gives to each argument of a function."""
    names = arguments(function)
    given = {name: told(value, scope) for name, value in zip(names, call.args, strict=False)}
    given |= {word.arg: told(word.value, scope) for word in call.keywords if word.arg}
    defaults = dict(zip(reversed(names), reversed(function.args.defaults), strict=False))
    return {name: told(value, scope) for name, value in defaults.items() if name not in given} | given


def _returned(scope: Scope, function: ast.FunctionDef, given: Mapping[str, list[Told]]) -> Iterator[Told]:
    results = [node for node in ast.walk(function) if isinstance(node, ast.Return) and node.value is not None]
    for node in results:
        inner = Scope(scope.program, scope.module, function, given, scope.depth, node)
        value = node.value or ast.Constant("")
        for one in told(value, inner):
            if one.known:
                seen = frozenset([key(scope.module.path, value)]) if len(results) > 1 else frozenset()
                yield Told(one.words, one.places | seen)
