"""The places of a module that ``changed_places.py`` can change, and what is put there."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

EDGES = {
    ast.Lt: ("<", "<="), ast.LtE: ("<=", "<"), ast.Gt: (">", ">="), ast.GtE: (">=", ">"),
    ast.Eq: ("==", "!="), ast.NotEq: ("!=", "=="), ast.In: ("in", "not in"),
    ast.NotIn: ("not in", "in"), ast.Is: ("is", "is not"), ast.IsNot: ("is not", "is"),
}  # fmt: skip
TURNED = {ast.Add: "+-", ast.Sub: "-+", ast.Mult: "*/", ast.Div: "/*"}
JOINED = {ast.And: ("and", "or"), ast.Or: ("or", "and")}
DEFINED = (ast.FunctionDef, ast.ClassDef)
FEWEST_WORDS = 3


@dataclass(frozen=True)
class Place:
    """Bytes ``start`` to ``end`` of a file, and the lines of their statement."""

    where: str
    kind: str
    before: str
    after: str
    start: int
    end: int
    line: int
    last: int


def places(path: Path) -> list[Place]:
    """Every place inside a function of a file, in the order of the text."""
    return list(Reader(path.read_bytes()).read())


class Reader:
    """Walks one module."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self.tree = ast.parse(raw)
        self.offsets = [0]
        for line in raw.splitlines(keepends=True):
            self.offsets.append(self.offsets[-1] + len(line))

    def read(self) -> Iterator[Place]:
        """All places of the module."""
        yield from self.under(self.tree, (), None)

    def under(
        self, node: ast.AST, where: tuple[str, ...], held: ast.stmt | None
    ) -> Iterator[Place]:
        """Places of what a node holds; ``held`` is the statement around it, inside a function."""
        for part in self.parts(node):
            if isinstance(part, DEFINED):
                inner = held or (part if isinstance(part, ast.FunctionDef) else None)
                yield from self.under(part, (*where, part.name), inner)
                continue
            around = part if held and isinstance(part, ast.stmt) else held
            if around:
                for kind, start, end, after in self.changes(part):
                    yield Place(
                        ".".join(where), kind, self.raw[start:end].decode(), after, start, end,
                        around.lineno, header_end(around),
                    )  # fmt: skip
            yield from self.under(part, where, around)

    def parts(self, node: ast.AST) -> list[ast.AST]:
        """What a node holds, without imports, annotations, docstrings and texts between braces."""
        if isinstance(node, DEFINED):
            body = node.body
            return body[1:] if ast.get_docstring(node, clean=False) is not None else body
        if isinstance(node, ast.AnnAssign):
            return [node.value] if node.value else []
        if isinstance(node, ast.JoinedStr):
            return [part.value for part in node.values if isinstance(part, ast.FormattedValue)]
        held = ast.iter_child_nodes(node)
        return [part for part in held if not isinstance(part, ast.Import | ast.ImportFrom)]

    def span(self, node: ast.AST) -> tuple[int, int]:
        """First byte of a node, and the byte after its last."""
        start = self.offsets[node.lineno - 1] + node.col_offset
        return start, self.offsets[node.end_lineno - 1] + node.end_col_offset

    def text(self, node: ast.AST) -> str:
        """The text of a node."""
        start, end = self.span(node)
        return self.raw[start:end].decode()

    def changes(self, node: ast.AST) -> Iterator[tuple[str, int, int, str]]:
        """Kind, first byte, end and new text of every change of one node."""
        match node:
            case ast.Compare(left=left, ops=[sign], comparators=[right]):
                yield from self.between("compare", left, right, *EDGES[type(sign)])
            case ast.BoolOp(op=sign, values=[left, right]):
                yield from self.between("and/or", left, right, *JOINED[type(sign)])
            case ast.BinOp(left=left, op=sign, right=right) if type(sign) in TURNED:
                if not texts(left) and not texts(right):
                    yield from self.between("arithmetic", left, right, *TURNED[type(sign)])
            case ast.UnaryOp(op=ast.Not(), operand=inner):
                yield ("not", *self.span(node), f"({self.text(inner)})")
            case ast.UnaryOp(op=ast.USub(), operand=inner) if not isinstance(inner, ast.Constant):
                yield ("sign", *self.span(node), f"({self.text(inner)})")
            case ast.If(test=test) | ast.IfExp(test=test):
                yield ("if", *self.span(test), f"not ({self.text(test)})")
            case ast.comprehension(ifs=[first, *_]):
                yield ("who is left out", *self.span(first), "True")
            case ast.Constant():
                yield from self.constant(node)

    def between(
        self, kind: str, left: ast.AST, right: ast.AST, sign: str, other: str
    ) -> Iterator[tuple[str, int, int, str]]:
        """A sign between two operands, put for another one."""
        start, end = self.span(left)[1], self.span(right)[0]
        middle = self.raw[start:end].decode()
        if middle.strip() == sign or (
            kind == "arithmetic" and middle.count(sign) == 1 and "#" not in middle
        ):
            yield (kind, start, end, middle.replace(sign, other))

    def constant(self, node: ast.Constant) -> Iterator[tuple[str, int, int, str]]:
        """A number one further, a truth turned round, a text without its middle word."""
        start, end = self.span(node)
        match node.value:
            case bool() as truth:
                yield ("boolean", start, end, str(not truth))
            case int() as count:
                yield ("number", start, end, str(count + 1))
            case float() as number:
                yield ("number", start, end, repr(number * 1.1 + (number == 0)))
            case str() as text if (
                len(text.split()) >= FEWEST_WORDS and node.lineno == node.end_lineno
            ):
                words = self.text(node).split(" ")
                middle = len(words) // 2
                if len(words) >= FEWEST_WORDS and words[0][0] in "'\"":
                    yield ("word", start, end, " ".join(words[:middle] + words[middle + 1 :]))


def texts(node: ast.AST) -> bool:
    """Whether a node is a text."""
    constant = isinstance(node, ast.Constant) and isinstance(node.value, str)
    return constant or isinstance(node, ast.JoinedStr)


def header_end(node: ast.stmt) -> int:
    """Last line of a statement, without what stands inside it."""
    inside = getattr(node, "body", None)
    return max(node.lineno, inside[0].lineno - 1) if inside else node.end_lineno or node.lineno
