"""Which formulas are allowed, checked before anything is built from them.

A formula is read into a syntax tree and written anew from the parts that are on the list: names,
the operators ``+ - * / : ^ ( )``, the functions ``log``, ``sqrt``, ``center``, ``scale``, ``poly``
and ``I`` of arithmetic in names and numbers, ``bs`` of a name (cubic splines, which join smoothly
at knots), and ``C`` with a coding. Whatever else it holds is refused, so
that a formula from a study file can never run code.
"""

import ast
import keyword
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from motorlearn.exceptions import FormulaError

REMEDY = (
    "use column names, numbers, + - * / : ^ and brackets, log, sqrt, poly, center, scale, I, bs "
    "(splines, such as bs(block, df=4)), and "
    "C(name), C(name, Treatment('level')) or C(name, Sum); a column whose name has blanks, dots "
    "or hyphens, or is a word of Python such as class, stands in backticks: `reaction time`"
)
_TRANSFORMS = ("log", "sqrt", "center", "scale")
# Python has no operator that binds as ":" does; a power whose exponent is not a number stands in.
_OPERATORS = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Pow: ":", ast.Div: "/"}
_ARITHMETIC = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}
_ALIAS = "quoted_"
MOST_SPLINES = 12
_STATEFUL = ("center(", "scale(", "poly(", "bs(")
_RESERVED = ("C", "Treatment", "Sum", *_TRANSFORMS, "poly", "bs", "I")


@dataclass(frozen=True)
class Formula:
    """A checked formula.

    Parameters
    ----------
    response : str
        Left-hand side, a name or ``log``/``sqrt`` arithmetic on names; empty if there is none.
    terms : str
        Right-hand side, written anew.
    names : tuple of str
        Columns the right-hand side uses, in order.
    response_names : tuple of str
        Columns the left-hand side uses.
    """

    response: str
    terms: str
    names: tuple[str, ...]
    response_names: tuple[str, ...]

    @property
    def coded(self) -> frozenset[str]:
        """Columns that stand inside ``C``."""
        return frozenset(unalias(name) for name in re.findall(r"\bC\((\w+)", self.terms))

    @property
    def depends_on_rows(self) -> bool:
        """Whether a function in it (centring, polynomials) looks at all rows."""
        return any(mark in self.terms for mark in _STATEFUL)


def alias(name: str) -> str:
    """Name under which a column stands in a checked formula; :func:`unalias` turns it back.

    Examples
    --------
    >>> alias("radial_error"), unalias(alias("reaction time"))
    ('radial_error', 'reaction time')
    """
    plain = name.isidentifier() and name.isascii() and not keyword.iskeyword(name)
    if plain and name not in _RESERVED and not name.startswith(_ALIAS) and "__" not in name:
        return name
    return _ALIAS + name.encode().hex()


def unalias(text: str) -> str:
    """Put the names of columns back into a text that holds their aliases."""
    return re.sub(rf"\b{_ALIAS}([0-9a-f]+)\b", lambda m: bytes.fromhex(m[1]).decode(), text)


def read_formula(text: str, *, response: bool = True) -> Formula:
    """Check a formula and write it anew.

    Raises
    ------
    FormulaError
        If it does not parse or holds anything that is not on the list.

    Examples
    --------
    >>> read_formula("radial_error ~ group * phase + log(distance)").names
    ('group', 'phase', 'distance')
    """
    if not isinstance(text, str) or len(text) > 5000:
        raise FormulaError("a formula is a text of at most 5000 characters", [type(text)], REMEDY)
    text = _quoted_names(text)
    sides = text.split("~")
    if response and (len(sides) != 2 or not sides[0].strip() or not sides[1].strip()):
        raise FormulaError(
            "a formula has an outcome, one ~ and a right-hand side",
            [text],
            "write for example 'radial_error ~ group * phase'",
        )
    if not response and len(sides) > 1:
        raise FormulaError("random terms are written without ~", [text], "write '1 + block'")
    names: list[str] = []
    terms = _sum_of_terms(_tree(sides[-1], text), names, text)
    response_names: list[str] = []
    left = _arithmetic(_tree(sides[0], text), response_names, text) if response else ""
    return Formula(left, terms, _unique(names), _unique(response_names))


def _quoted_names(text: str) -> str:
    """Write names in backticks as plain ones; texts in quotation marks stay as they are."""
    pieces = re.split(r"('[^'\\\n]*'|\"[^\"\\\n]*\"|`[^`\n]+`)", text)
    return "".join(
        alias(piece[1:-1]) if number % 2 and piece.startswith("`") else piece
        for number, piece in enumerate(pieces)
    )


def factors_of_term(text: str) -> frozenset[str]:
    """Factors of one term in any order, coded as the columns of the matrix name them.

    Examples
    --------
    >>> sorted(factors_of_term("phase:C(group, Sum)"))
    ['C(group, contr.sum)', 'phase']
    """
    tree = _tree(_quoted_names(text), text)
    return frozenset(unalias(part) for part in _factors(tree, text))


def _factors(node: ast.expr, text: str) -> list[str]:
    match node:
        case ast.BinOp(left=left, op=ast.Pow(), right=right) if not isinstance(right, ast.Constant):
            return [*_factors(left, text), *_factors(right, text)]
    return [_term(node, [], text)]


def split_term(term: str) -> frozenset[str]:
    """Factors of a term as the columns of a matrix name it: parts between colons outside brackets.

    Examples
    --------
    >>> sorted(split_term("C(day, contr.treatment('7:00')):phase"))
    ["C(day, contr.treatment('7:00'))", 'phase']
    """
    return frozenset(pieces_of_term(term))


def pieces_of_term(term: str) -> list[str]:
    """Parts of a term, or of the name of a column, between colons outside brackets, in order.

    Examples
    --------
    >>> pieces_of_term("group[T.random]:bs(block, df=3)[1]")
    ['group[T.random]', 'bs(block, df=3)[1]']
    """
    parts, depth = [""], 0
    for piece in re.split(r"('[^']*'|\"[^\"]*\"|[][():])", term):
        depth += (piece in ("(", "[")) - (piece in (")", "]"))
        if piece == ":" and depth == 0:
            parts.append("")
        else:
            parts[-1] += piece
    return parts


def evaluate_response(formula: Formula, columns: Mapping[str, np.ndarray]) -> np.ndarray:
    """Compute the outcome from its columns by walking the checked left-hand side."""
    return _value(ast.parse(formula.response, mode="eval").body, columns)


def is_logarithm(text: str) -> bool:
    """Whether the outcome is the logarithm of a column, or of a multiple of one, and nothing else.

    Examples
    --------
    >>> is_logarithm("log(time) ~ group"), is_logarithm("log(time + 1) ~ group")
    (True, False)
    """
    match ast.parse(read_formula(text).response, mode="eval").body:
        case ast.Call(func=ast.Name(id="log"), args=[ast.Name()]):
            return True
        case ast.Call(
            func=ast.Name(id="log"),
            args=[
                ast.BinOp(left=ast.Name(), op=ast.Mult() | ast.Div(), right=ast.Constant())
                | ast.BinOp(left=ast.Constant(), op=ast.Mult(), right=ast.Name())
            ],
        ):
            return True
    return False


def _unique(names: list[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(unalias(name) for name in names))


def _refuse(text: str, what: str) -> FormulaError:
    return FormulaError(
        f"the formula {unalias(text)!r} holds what is not allowed", [unalias(what)], REMEDY
    )


def _tree(side: str, text: str) -> ast.expr:
    plain = ""
    for number, piece in enumerate(re.split(r"('[^'\\\n]*'|\"[^\"\\\n]*\")", side)):
        quoted = number % 2 == 1
        if not quoted:
            _refuse_other_habits(piece, text)
        bad = None if quoted else re.search(r"[^\w\s+\-*/:^().,=]|__|:\s*[\d:]", piece)
        if bad:
            raise _refuse(text, bad.group())
        plain += piece if quoted else re.sub(r"[:^]", "**", re.sub(r"\s+", " ", piece))
    try:
        return ast.parse(plain.strip(), mode="eval").body
    except (SyntaxError, RecursionError, MemoryError, ValueError) as problem:
        shown = unalias(text)
        raise FormulaError(f"the formula {shown!r} cannot be read", [side], REMEDY) from problem


def _refuse_other_habits(piece: str, text: str) -> None:
    """Refuse, with the remedy by name, what other programs read and this one does not."""
    if "|" in piece:
        raise FormulaError(
            f"the formula {unalias(text)!r} holds a random term",
            [piece.strip()],
            "random terms stand in random=, for example random={'participant': '1 + phase'}",
        )
    if re.search(r"(\^|\*\*)(?!\s*\d)", piece):
        raise FormulaError(
            f"the formula {unalias(text)!r} holds a power whose exponent is not a number",
            [piece.strip()],
            "write group:phase for an interaction, and (a + b)^2 for all up to the second order",
        )


def _sum_of_terms(node: ast.expr, names: list[str], text: str) -> str:
    """Write the whole right-hand side anew, its intercept or the lack of it first."""
    intercept, parts = 1, []
    for sign, part in _addends(node):
        match part:
            case ast.Constant(value=int(value)) if value in (0, 1) and value is not True:
                intercept = value if sign == "+" else 1 - value
            case _:
                parts.append(f" {sign} {_term(part, names, text)}")
    if intercept == 0 and not any(part.startswith(" +") for part in parts):
        raise FormulaError(f"the formula {text!r} has no term", None, "add a term or the intercept")
    return str(intercept) + "".join(parts)


def _addends(node: ast.expr) -> list[tuple[str, ast.expr]]:
    match node:
        case ast.BinOp(left=left, op=ast.Add() | ast.Sub() as op, right=right):
            return [*_addends(left), ("+" if isinstance(op, ast.Add) else "-", right)]
        case ast.UnaryOp(op=ast.USub(), operand=inside):
            return [("-", inside)]
        case ast.UnaryOp(op=ast.UAdd(), operand=inside):
            return [("+", inside)]
    return [("+", node)]


def _term(node: ast.expr, names: list[str], text: str) -> str:
    """Write a model term anew."""
    match node:
        case ast.Name(id=name):
            names.append(name)
            return name
        case ast.BinOp(left=ast.Name() as left, op=ast.Pow(), right=ast.Constant()):
            raise FormulaError(
                f"the formula {unalias(text)!r} holds the power of a single term, which is the "
                "term itself",
                [unalias(left.id)],
                "write poly(name, 2) for a curve",
            )
        case ast.BinOp(left=left, op=ast.Pow(), right=ast.Constant(value=2 | 3 | 4 as power)):
            return f"({_term(left, names, text)})**{power}"
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATORS:
            sign = _OPERATORS[type(op)]
            return f"({_term(left, names, text)} {sign} {_term(right, names, text)})"
        case ast.Call(func=ast.Name(id=function), args=args, keywords=keywords):
            return _call(function, args, keywords, names, text)
    raise _refuse(text, ast.unparse(node).replace("**", ":"))


def _call(
    function: str, args: list[ast.expr], keywords: list[ast.keyword], names: list[str], text: str
) -> str:
    match function, args, keywords:
        case name, [inside], [] if name in _TRANSFORMS:
            return f"{name}({_arithmetic(inside, names, text)})"
        case "poly", [inside, ast.Constant(value=int(degree))], [] if 1 <= degree <= 6:
            return f"poly({_arithmetic(inside, names, text)}, {degree})"
        case "I", [inside], []:
            return f"I({_arithmetic(inside, names, text)})"
        case "bs", [ast.Name(id=column)], [
            ast.keyword(arg="df", value=ast.Constant(value=int(df)))
        ]:
            if not 3 <= df <= MOST_SPLINES:
                raise _refuse(text, f"bs({unalias(column)}, df={df})")
            names.append(column)
            return f"bs({column}, df={df})"
        case "C", [ast.Name(id=column)], []:
            names.append(column)
            return f"C({column})"
        case "C", [ast.Name(id=column), coding], []:
            names.append(column)
            return f"C({column}, {_coding(coding, text)})"
    raise _refuse(text, f"{function}(...)")


def _coding(node: ast.expr, text: str) -> str:
    match node:
        case ast.Name(id="Sum"):
            return "contr.sum"
        case ast.Name(id="Treatment"):
            return "contr.treatment"
        case ast.Call(func=ast.Name(id="Treatment"), args=[ast.Constant(value=level)], keywords=[]):
            return _treatment(level, text)
        case ast.Call(
            func=ast.Name(id="Treatment"),
            args=[],
            keywords=[ast.keyword(arg="reference", value=ast.Constant(value=level))],
        ):
            return _treatment(level, text)
    raise _refuse(text, ast.unparse(node))


def _treatment(level: object, text: str) -> str:
    if isinstance(level, bool) or not isinstance(level, str | int | float):
        raise _refuse(text, f"Treatment({level!r})")
    return f"contr.treatment({level!r})"


def _arithmetic(node: ast.expr, names: list[str], text: str) -> str:
    """Write arithmetic in names and numbers anew."""
    match node:
        case ast.Name(id=name):
            names.append(name)
            return name
        case ast.Constant(value=int() | float() as value) if not isinstance(value, bool):
            return repr(value)
        case ast.UnaryOp(op=ast.USub(), operand=inside):
            return f"(-{_arithmetic(inside, names, text)})"
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _ARITHMETIC:
            sign = _ARITHMETIC[type(op)]
            return f"({_arithmetic(left, names, text)} {sign} {_arithmetic(right, names, text)})"
        case ast.BinOp(left=left, op=ast.Pow(), right=ast.Constant(value=2 | 3 | 4 as power)):
            return f"({_arithmetic(left, names, text)} ** {power})"
        case ast.Call(func=ast.Name(id="log" | "sqrt" as function), args=[inside], keywords=[]):
            return f"{function}({_arithmetic(inside, names, text)})"
    raise _refuse(text, ast.unparse(node).replace("**", ":"))


def _value(node: ast.expr, columns: Mapping[str, np.ndarray]) -> np.ndarray:
    match node:
        case ast.Name(id=name):
            return np.asarray(columns[unalias(name)], dtype=float)
        case ast.Constant(value=value):
            return np.asarray(value, dtype=float)
        case ast.UnaryOp(operand=inside):
            return -_value(inside, columns)
        case ast.Call(func=ast.Name(id=function), args=[inside]):
            found: np.ndarray = {"log": np.log, "sqrt": np.sqrt}[function](_value(inside, columns))
            return found
        case ast.BinOp(left=left, op=op, right=right):
            a, b = _value(left, columns), _value(right, columns)
            found = _APPLY[type(op)](a, b)
            return found
    raise _refuse("outcome", ast.dump(node))


_APPLY = {
    ast.Add: np.add,
    ast.Sub: np.subtract,
    ast.Mult: np.multiply,
    ast.Div: np.divide,
    ast.Pow: np.power,
}
