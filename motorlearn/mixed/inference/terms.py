"""Which columns a term of the formula has, and at which levels of the others it is tested."""

import ast
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from motorlearn.exceptions import InputError
from motorlearn.mixed.formula.formulas import factors_of_term, split_term
from motorlearn.mixed.formula.matrices import MatrixPlan
from motorlearn.mixed.inference.degrees_of_freedom import FTest

_CODED = re.compile(r"C\((.+?)(?:, contr\.(\w+)(?:\((.*)\))?)?\)$")
_AVERAGED = ("center(", "scale(", "poly(", "bs(")


@dataclass(frozen=True)
class TermTest(FTest):
    """A test of one or several terms: :class:`FTest` with what was tested and where.

    Parameters
    ----------
    terms : tuple of str
        Terms, or single fixed effects, that are zero under the hypothesis.
    held_at : mapping of str to level
        Factors of interactions with these terms, and the level at which the terms are tested
        because of how the factor is coded; empty where nothing is held.
    """

    terms: tuple[str, ...] = ()
    held_at: Mapping[str, object] | None = None

    def __str__(self) -> str:
        below = f"({self.df1}, {self.df2:.4g})"
        text = f"test of {' and '.join(self.terms)}: F{below} = {self.statistic:.4g}"
        text += f", p = {self.p:.3g}"
        if self.held_at:
            places = ", ".join(f"{name} = {level}" for name, level in self.held_at.items())
            text += (
                f"; at {places} only, because of an interaction: anova() gives the test averaged "
                "over the levels"
            )
        return text


def columns_of(asked: Sequence[str], plan: MatrixPlan) -> tuple[list[int], tuple[str, ...]]:
    """Columns of the terms asked for, in any order of their factors, and the terms' own names.

    Raises
    ------
    InputError
        If the model has no such term.
    """
    own = _by_columns(plan) | {split_term(term): term for term in plan.assigned}
    rows: list[int] = []
    named: list[str] = []
    unknown = []
    for name in asked:
        term = name if name in (*plan.assigned, *plan.columns) else own.get(_factors(name))
        if term is None:
            unknown.append(name)
            continue
        pairs = zip(plan.columns, plan.assigned, strict=True)
        rows += [i for i, pair in enumerate(pairs) if term in pair and i not in rows]
        named.append(term)
    if unknown or not rows:
        raise InputError(
            "the model has no such term",
            unknown,
            f"its terms are {', '.join(dict.fromkeys(plan.assigned))}",
        )
    return sorted(rows), tuple(named)


def _by_columns(plan: MatrixPlan) -> dict[frozenset[str], str]:
    """Terms by the plain columns of their factors, where only one term has these."""
    found: dict[frozenset[str], list[str]] = {}
    for term in dict.fromkeys(plan.assigned):
        plain = frozenset(_column(factor) for factor in split_term(term))
        found.setdefault(plain, []).append(term)
    return {plain: terms[0] for plain, terms in found.items() if len(terms) == 1}


def _column(factor: str) -> str:
    coded = _CODED.match(factor)
    return coded[1] if coded else factor


def _factors(name: str) -> frozenset[str]:
    plain = split_term(name.replace("`", ""))
    try:
        return factors_of_term(name)
    except InputError:
        return plain


def held_levels(rows: Sequence[int], plan: MatrixPlan) -> dict[str, object]:
    """Level at which each further factor stands while columns ``rows`` are tested."""
    inside = {plan.assigned[i] for i in rows}
    mine = [split_term(term) for term in inside]
    held: dict[str, object] = {}
    for term in dict.fromkeys(plan.assigned):
        factors = split_term(term)
        parts = [own for own in mine if own < factors and own != {"1"}]
        if parts and term not in inside:
            held |= _levels(factors.difference(*parts), plan)
    return held


def _levels(factors: frozenset[str], plan: MatrixPlan) -> dict[str, object]:
    found: dict[str, object] = {}
    for factor in sorted(factors):
        coded = _CODED.match(factor)
        name = coded[1] if coded else factor
        if name in plan.levels:
            if coded and coded[2] == "sum":
                continue
            given = coded[3] if coded else None
            found[name] = ast.literal_eval(given) if given else plan.levels[name][0]
        elif not factor.startswith(_AVERAGED):
            found[factor] = 0
    return found
