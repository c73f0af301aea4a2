"""Tables as LaTeX, for a document that loads ``booktabs``."""

from motorlearn.tables.model import Table

_SPECIAL = {
    "\\": r"\textbackslash{}",
    "&": r"\&",
    "%": r"\%",
    "$": r"\$",
    "#": r"\#",
    "_": r"\_",
    "{": r"\{",
    "}": r"\}",
    "~": r"\textasciitilde{}",
    "^": r"\textasciicircum{}",
    "<": r"\textless{}",
    ">": r"\textgreater{}",
    "−": r"\ensuremath{-}",
    "–": "--",
    "²": r"\textsuperscript{2}",
    "η": r"\ensuremath{\eta}",
    "ε": r"\ensuremath{\varepsilon}",
    "σ": r"\ensuremath{\sigma}",
    "ρ": r"\ensuremath{\rho}",
    "κ": r"\ensuremath{\kappa}",
    "α": r"\ensuremath{\alpha}",
    "±": r"\ensuremath{\pm}",
    "≥": r"\ensuremath{\geq}",
    "≤": r"\ensuremath{\leq}",
    "∞": r"\ensuremath{\infty}",
    "√": r"\ensuremath{\surd}",
    "×": r"\ensuremath{\times}",
    "·": r"\ensuremath{\cdot}",
}


def to_latex(table: Table, *, decimal: str = ".") -> str:
    """Write a table as a floating ``table`` with caption, label and notes."""
    marks = "".join("r" if column.is_numeric else "l" for column in table.columns)
    lines = [_line(line) for line in table.cells(decimal)]
    notes = [rf"\par\smallskip\footnotesize {latex_safe(note)}" for note in table.notes]
    return "\n".join(
        [
            r"\begin{table}[htbp]",
            r"\centering",
            rf"\caption{{{latex_safe(table.title)}}}",
            rf"\label{{tab:{table.name}}}",
            rf"\begin{{tabular}}{{{marks}}}",
            r"\toprule",
            _line(table.headings),
            r"\midrule",
            *lines,
            r"\bottomrule",
            r"\end{tabular}",
            *notes,
            r"\end{table}",
            "",
        ]
    )


def latex_safe(text: str) -> str:
    r"""Escape what LaTeX would take for a command.

    Examples
    --------
    >>> latex_safe("50 % of x_1")
    '50 \\% of x\\_1'
    """
    return "".join(_SPECIAL.get(character, character) for character in text)


def _line(cells: list[str]) -> str:
    return " & ".join(latex_safe(cell) for cell in cells) + r" \\"
