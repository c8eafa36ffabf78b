"""All mutants of one module: its text with one small thing changed in each.

What is changed: comparisons (the bound moved, and turned round), arithmetic, boolean and unary operators, conditions
(negated), numbers, truth values, codes of one word and strings that are compared, the empty string; `min` and `max`,
`any` and `all`; what is returned; neighbours in a call's arguments (exchanged), named arguments (left out), members of
sets and of alternatives (left out), assignments anew, calls for their effect, `raise`, `break` and `continue`.

What is not, since no test should pin it: docstrings, annotations and names of types, decorators, assertions, `strict`
of `zip`, the wording of messages (any string with a space that is not compared, f-strings whole, the words of an
enumeration).
"""

import ast
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

_COMPARISONS: dict[type[ast.cmpop], tuple[str, tuple[str, ...]]] = {
    ast.Lt: ("<", ("<=", ">=")),
    ast.LtE: ("<=", ("<", ">")),
    ast.Gt: (">", (">=", "<=")),
    ast.GtE: (">=", (">", "<")),
    ast.Eq: ("==", ("!=",)),
    ast.NotEq: ("!=", ("==",)),
    ast.Is: ("is", ("is not",)),
    ast.IsNot: ("is not", ("is",)),
    ast.In: ("in", ("not in",)),
    ast.NotIn: ("not in", ("in",)),
}
_ARITHMETIC: dict[type[ast.operator], tuple[str, str]] = {
    ast.Add: ("+", "-"),
    ast.Sub: ("-", "+"),
    ast.Mult: ("*", "/"),
    ast.Div: ("/", "*"),
    ast.FloorDiv: ("//", "/"),
    ast.Mod: ("%", "*"),
    ast.Pow: ("**", "*"),
    ast.BitOr: ("|", "&"),
    ast.BitAnd: ("&", "|"),
    ast.BitXor: ("^", "&"),
    ast.LShift: ("<<", ">>"),
    ast.RShift: (">>", "<<"),
}
_PAIRS = {"min": "max", "any": "all", "minimum": "maximum", "floor": "ceil"}
_PAIRS |= {other: one for one, other in _PAIRS.items()}
_SYMMETRIC = {"min", "max", "minimum", "maximum"}  # in which exchanged arguments change nothing
_CODE = re.compile(r"[\w-]*")
_TYPE = re.compile(r"_?[A-Z]\w*[a-z]\w*")
_COMMENT = re.compile(r"#[^\n]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change to a module: its whole `text` with it; `inside`: the function or class that it is in.

    `late`: it is in a function's body, in the statement that begins at the line `within`. What is not is worked out
    when the module is imported, and known by `names` then. `was`, `becomes`: the changed lines.
    """

    module: str
    text: str = field(repr=False)
    line: int
    within: int
    inside: str
    late: bool
    names: frozenset[str]
    was: str
    becomes: str


@dataclass(frozen=True, slots=True)
class _Place:
    inside: str
    late: bool
    within: int
    names: frozenset[str]


@dataclass(slots=True)
class _Breeder(ast.NodeVisitor):
    """Walks a module's tree and keeps, for each change, the piece of text and what comes in its place."""

    text: str
    place: _Place = _Place("", False, 0, frozenset())
    compared: set[int] = field(default_factory=set)
    set_before: set[str] = field(default_factory=set)
    found: list[tuple[_Place, int, int, int, str]] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        # columns of the tree count bytes
        self.starts = [0]
        for line in self.text.encode().splitlines(keepends=True):
            self.starts.append(self.starts[-1] + len(line))

    def start(self, node: ast.expr | ast.stmt | ast.pattern) -> int:
        return self.starts[node.lineno - 1] + node.col_offset

    def end(self, node: ast.expr | ast.stmt | ast.pattern) -> int:
        assert node.end_lineno is not None
        assert node.end_col_offset is not None
        return self.starts[node.end_lineno - 1] + node.end_col_offset

    def piece(self, begin: int, end: int) -> str:
        return self.text.encode()[begin:end].decode()

    def put(self, node: ast.expr | ast.stmt | ast.pattern, begin: int, end: int, instead: str) -> None:
        self.found.append((self.place, node.lineno, begin, end, instead))

    def instead(self, node: ast.expr | ast.stmt | ast.pattern, text: str) -> None:
        self.put(node, self.start(node), self.end(node), text)

    def between(self, left: ast.expr, right: ast.expr, symbol: str, others: tuple[str, ...]) -> None:
        """Change the operator that stands between two expressions."""
        begin, end = self.end(left), self.start(right)
        gap = _COMMENT.sub(lambda found: " " * len(found[0].encode()), self.piece(begin, end))
        at = re.search(re.escape(symbol).replace(r"\ ", r"\s+"), gap)
        if at:
            for other in others:
                self.put(left, begin + at.start(), begin + at.end(), other)

    def source(self, node: ast.AST) -> str:
        return ast.get_source_segment(self.text, node) or ast.unparse(node)

    def negated(self, test: ast.expr) -> None:
        """Negate a condition, where no other change does just that."""
        if not isinstance(test, ast.Compare | ast.Constant) and not (
            isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)
        ):
            self.instead(test, f"(not ({self.source(test)}))")

    def left_out(self, members: Sequence[ast.expr | ast.pattern], least: int = 2) -> None:
        """Leave out each of the members that a comma or a bar parts, where enough of them are."""
        if len(members) < least:
            return
        for number, member in enumerate(members):
            begin = self.start(member) if number == 0 else self.end(members[number - 1])
            end = self.start(members[1]) if number == 0 else self.end(member)
            self.put(member, begin, end, "")

    # statements

    def visit(self, node: ast.AST) -> None:
        if isinstance(node, ast.stmt):
            before = self.place
            self.place = _place(node, before)
            super(_Breeder, self).visit(node)
            self.place = before
        else:
            super(_Breeder, self).visit(node)

    def each(self, nodes: Sequence[ast.AST]) -> None:
        for node in nodes:
            self.visit(node)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        self.each([*node.args.defaults, *(one for one in node.args.kw_defaults if one is not None)])
        before, known = self.place, self.set_before
        self.place = _Place(f"{before.inside}.{node.name}".lstrip("."), True, before.within, frozenset())
        arguments = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
        self.set_before = {one.arg for one in arguments}
        self.each(node.body)
        self.place, self.set_before = before, known

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        before = self.place
        inside = f"{before.inside}.{node.name}".lstrip(".")
        self.place = _Place(inside, before.late, before.within, frozenset({node.name}))
        enumeration = any(self.source(one).endswith("Enum") for one in node.bases)
        self.each([one for one in node.body if not (enumeration and isinstance(one, ast.Assign))])
        self.place = before

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Constant):
            return
        self.instead(node, "pass")
        self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> None:
        names = {one.id for target in node.targets for one in ast.walk(target) if isinstance(one, ast.Name)}
        if not self.place.late and any(_TYPE.fullmatch(one) for one in names):
            return  # another name of a type
        if any(not isinstance(one, ast.Name | ast.Tuple) for one in node.targets) or names <= self.set_before:
            self.instead(node, "pass")
        self.set_before |= names if self.place.late else set()
        self.visit(node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        symbol, other = _ARITHMETIC.get(type(node.op), ("", ""))
        if symbol:
            self.between(node.target, node.value, f"{symbol}=", (f"{other}=",))
        self.visit(node.value)

    def visit_Return(self, node: ast.Return) -> None:
        if node.value is not None:
            if not isinstance(node.value, ast.Constant):
                self.instead(node.value, "None")
            self.visit(node.value)

    def visit_Raise(self, node: ast.Raise) -> None:
        self.instead(node, "pass")

    def visit_Break(self, node: ast.Break) -> None:
        self.instead(node, "continue")

    def visit_Continue(self, node: ast.Continue) -> None:
        self.instead(node, "break")

    def visit_Assert(self, node: ast.Assert) -> None:
        pass

    def visit_If(self, node: ast.If) -> None:
        self.negated(node.test)
        self.generic_visit(node)

    def visit_While(self, node: ast.While) -> None:
        self.negated(node.test)
        self.generic_visit(node)

    def visit_match_case(self, node: ast.match_case) -> None:
        if node.guard is not None:
            self.negated(node.guard)
        self.generic_visit(node)

    # expressions and patterns

    def visit_MatchOr(self, node: ast.MatchOr) -> None:
        self.left_out(node.patterns)
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self.negated(node.test)
        self.generic_visit(node)

    def visit_comprehension(self, node: ast.comprehension) -> None:
        for one in node.ifs:
            self.negated(one)
        self.generic_visit(node)

    def visit_Compare(self, node: ast.Compare) -> None:
        operands = [node.left, *node.comparators]
        for (left, right), op in zip(pairwise(operands), node.ops, strict=True):
            self.between(left, right, *_COMPARISONS[type(op)])
            if isinstance(right, ast.Tuple):
                self.left_out(right.elts, least=3)  # of two, one without its comma is no tuple any more
        self.compared.update(id(one) for operand in operands for one in ast.walk(operand))
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        if type(node.op) in _ARITHMETIC:
            symbol, other = _ARITHMETIC[type(node.op)]
            self.between(node.left, node.right, symbol, (other,))
        self.generic_visit(node)

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        symbol, other = ("and", "or") if isinstance(node.op, ast.And) else ("or", "and")
        for left, right in pairwise(node.values):
            self.between(left, right, symbol, (other,))
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if not isinstance(node.op, ast.UAdd):
            self.instead(node, f"({self.source(node.operand)})")
        self.generic_visit(node)

    def visit_Set(self, node: ast.Set) -> None:
        self.left_out(node.elts)
        if len(node.elts) == 1:
            self.instead(node, "set()")
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in _PAIRS:
            begin = self.end(node.func) - len(name)
            self.put(node, begin, self.end(node.func), _PAIRS[name])
        if name not in _SYMMETRIC:
            for left, right in pairwise(node.args):
                self.exchanged(left, right)
        named = [one for one in node.keywords if one.arg not in (None, "strict")]
        for one, other in pairwise(named):
            self.exchanged(one.value, other.value)
        ends = [*node.args, *(one.value for one in node.keywords)]
        for one in named:
            at = ends.index(one.value)
            begin = self.end(ends[at - 1]) if at else self.starts[one.lineno - 1] + one.col_offset
            self.put(one.value, begin, self.end(one.value), "")
        self.visit(node.func)
        self.each([*node.args, *(one.value for one in node.keywords if one.arg != "strict")])

    def exchanged(self, left: ast.expr, right: ast.expr) -> None:
        if isinstance(left, ast.Starred) or isinstance(right, ast.Starred) or self.source(left) == self.source(right):
            return
        gap = self.piece(self.end(left), self.start(right))
        self.put(left, self.start(left), self.end(right), f"{self.source(right)}{gap}{self.source(left)}")

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        pass

    def visit_Constant(self, node: ast.Constant) -> None:
        other = _other(node.value, compared=id(node) in self.compared)
        if other is not None:
            self.instead(node, other)


def _other(value: object, *, compared: bool) -> str | None:
    """Return another constant in place of this one, or None where it is left alone."""
    match value:
        case bool():
            return str(not value)
        case int():
            return str(value + 1)
        case float():
            return repr(2 * value if value else 1.0)
        case str() if compared or _CODE.fullmatch(value):
            return repr(f"{value}x")
    return None


def _place(node: ast.stmt, before: _Place) -> _Place:
    names = before.names
    if not before.late and isinstance(node, ast.Assign | ast.AnnAssign):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        names |= {one.id for target in targets for one in ast.walk(target) if isinstance(one, ast.Name)}
    if not before.late and isinstance(node, ast.FunctionDef):
        names |= {node.name}
    return _Place(before.inside, before.late, node.lineno, names)


def mutants(module: str, text: str) -> Iterator[Mutant]:
    """Yield all mutants of a module's text, in the order of its lines; those that are no program are left out."""
    breeder = _Breeder(text)
    breeder.visit(ast.parse(text))
    data = text.encode()
    seen = {text}
    for place, line, begin, end, instead in sorted(breeder.found, key=lambda one: (one[2], one[3], one[4])):
        changed = (data[:begin] + instead.encode() + data[end:]).decode()
        if changed in seen:
            continue
        seen.add(changed)
        try:
            compile(changed, module, "exec")
        except SyntaxError:
            continue
        was, becomes = _lines(data, begin, end, instead)
        yield Mutant(
            module=module,
            text=changed,
            line=line,
            within=place.within,
            inside=place.inside,
            late=place.late,
            names=place.names,
            was=was,
            becomes=becomes,
        )


def _lines(data: bytes, begin: int, end: int, instead: str) -> tuple[str, str]:
    """Return the lines that were changed, before and after, each as one line without what it is indented by."""
    first = data.rfind(b"\n", 0, begin) + 1
    last = data.find(b"\n", end)
    after = data[first:begin] + instead.encode() + data[end:last]
    return " ".join(data[first:last].decode().split()), " ".join(after.decode().split())
