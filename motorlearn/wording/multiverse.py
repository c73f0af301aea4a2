"""What a multiverse of declared choices may say: how far the answer hangs on them."""

from motorlearn import digits

NO_TEST = (
    "This describes how far the answer hangs on declared choices; it is no test, since all "
    "combinations share their data."
)


def agreement_sentence(
    total: int, computed: int, same_sign: int, same_verdict: int, reach: str, level: float
) -> str:
    """Share of combinations that agree with the primary analysis, and the range of estimates.

    Parameters
    ----------
    total, computed : int
        Combinations declared, and those that could be computed.
    same_sign, same_verdict : int
        Those with the sign, and with the verdict, of the primary analysis, itself among them.
    reach : str
        The range of estimates in words.
    level : float
        Level of intervals.

    Examples
    --------
    >>> agreement_sentence(24, 23, 23, 20, "-4.1 to -0.3 cm", 0.95)
    'Of 24 combinations of declared choices 23 could be computed; 23 (100 %) have the sign of the \
primary estimate and 20 (87 %) its verdict at the 5 % level. Estimates run from -4.1 to -0.3 cm.'
    """
    if not computed:
        return f"None of {total} combinations of declared choices could be computed."
    alpha = f"{digits.plain(round(100 * (1 - level), 2))} %"
    could = "all were computed" if computed == total else f"{computed} could be computed"
    comma = ", " if computed == total else " "
    return (
        f"Of {total} combinations of declared choices{comma}{could}; "
        f"{_share(same_sign, computed)} have the sign of the primary estimate and "
        f"{_share(same_verdict, computed)} its verdict at the {alpha} level. "
        f"Estimates run from {reach}."
    )


def _share(part: int, whole: int) -> str:
    return f"{part} ({digits.number(100 * part / whole, 0)} %)"
