"""A form of one's own: any Python function that falls with practice, and the tests of a form."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from motorlearn.curves.forms.shape import Array, Form, Rates, half_life_by_search
from motorlearn.exceptions import InputError

STEP = 1e-5
LEAST = 1e-300
LARGEST_COUNT = 1e100
Bounds = tuple[float, float] | Callable[[np.ndarray], tuple[float, float]]


def _check(name: Any, title: Any, equation: Any, rates: Any, basis: Any) -> None:
    """Refuse what no form can be made of."""
    texts = [text for text in (name, title, equation) if not isinstance(text, str)]
    if texts or not name:
        raise InputError("name, title and equation of a form are texts", texts or [name])
    if not isinstance(rates, Mapping) or not rates:
        raise InputError("rates must name one rate at least with its bounds", [rates])
    if not callable(basis):
        raise InputError("the basis must be a function of practice and rates", [basis])


def make_form(
    name: str,
    basis: Callable[..., np.ndarray],
    *,
    rates: Mapping[str, Bounds],
    slopes: Callable[..., tuple[np.ndarray, ...]] | None = None,
    title: str = "",
    equation: str = "",
    least_count: float = -np.inf,
) -> Form:
    r"""Make a form ``asymptote + gain * basis(n, ...)`` from a Python function.

    Parameters
    ----------
    name : str
        Name in the registry.
    basis : callable
        ``basis(n, *rates)``: what the gain is multiplied with, above 0, for an array of practice
        counts and as many positive numbers as there are rates; NumPy functions broadcast.
    rates : mapping of str to pair or callable
        Lowest and highest value of each rate, both above 0, or ``bounds(n)`` that gives them.
    slopes : callable, optional
        ``slopes(n, *rates)``: derivatives of the logarithm of the basis by each rate; taken by
        differences where absent.
    title, equation : str
        In words and in plain text, for tables.
    least_count : float
        Smallest practice count it is defined for.

    Returns
    -------
    Form
        Give it to :func:`register_form` to fit it by its name.

    Raises
    ------
    InputError
        If there is no rate, or bounds are not above 0 and in order.

    Examples
    --------
    >>> hyperbola = make_form(
    ...     "hyperbola", lambda n, rate: 1 / (1 + rate * (n - 1)), rates={"rate": (1e-4, 1e3)}
    ... )
    >>> float(hyperbola.basis(np.array(6.0), [0.2]))
    0.5
    """
    _check(name, title, equation, rates, basis)

    def log_real(n: Array, values: Rates) -> Array:
        with np.errstate(all="ignore"):
            return _log(basis(n, *values))

    def log_slopes(n: Array, values: Rates, first: float) -> tuple[Array, ...]:
        if slopes is not None:
            return tuple(slopes(n, *values))
        return tuple(_difference(log_real, n, values, k) for k in range(len(values)))

    def log_basis(n: Array, values: Rates, first: float) -> Array:
        if not any(np.iscomplexobj(value) for value in values):
            return log_real(n, values)
        # The optimiser asks for derivatives by imaginary steps, which need not suit a function.
        real: list[Any] = [np.real(value) for value in values]
        return _with_imaginary(log_real(n, real), log_slopes(n, real, first), values)

    def relative_rate(n: Array, values: Rates) -> Array:
        step = STEP * np.maximum(np.abs(n), 1.0)
        found: Array = -(log_real(n + step, values) - log_real(n - step, values)) / (2 * step)
        return found

    return Form(
        name=name,
        title=title or name.replace("_", " "),
        equation=equation or f"asymptote + gain * {name}(n; {', '.join(rates)})",
        rates=tuple(rates),
        least_count=least_count,
        log_basis=log_basis,
        slopes=log_slopes,
        bounds=lambda n: tuple(_pair(key, pair, n) for key, pair in rates.items()),
        relative_rate=relative_rate,
        half_life=lambda values, first: half_life_by_search(log_basis, values, first),
        edges=(1e-6,) * len(rates),
    )


def _log(height: Array) -> Array:
    found: Array = np.log(np.maximum(height, LEAST))
    return found


def _with_imaginary(real: Array, slopes: tuple[Array, ...], values: Rates) -> Array:
    """Log basis whose imaginary part is that of the values times the slopes."""
    found: Array = real + 1j * sum(slope * np.imag(value) for slope, value in zip(slopes, values))
    return found


def _difference(
    log_real: Callable[[Array, Rates], Array], n: Array, values: Rates, k: int
) -> np.ndarray:
    """Derivative of the log basis by one rate, by central differences of its logarithm."""
    up, down = list(values), list(values)
    up[k], down[k] = values[k] * np.exp(STEP), values[k] * np.exp(-STEP)
    found: Array = (log_real(n, up) - log_real(n, down)) / (2 * STEP * values[k])
    return found


def _pair(name: str, pair: Bounds, n: np.ndarray) -> tuple[float, float]:
    low, high = pair(n) if callable(pair) else pair
    if not 0 < low < high < np.inf:
        raise InputError(f"bounds of {name!r} must be above 0 and in order", [low, high])
    return float(low), float(high)


def _counts(practice: Any, form: Form) -> Array:
    """Different practice counts, or a refusal of what are none."""
    try:
        plain = np.asarray(practice)
    except ValueError as problem:
        raise InputError("practice must be a row of numbers", [practice]) from problem
    if plain.ndim != 1 or plain.dtype.kind not in "iuf" or len(plain) < 2:
        raise InputError("practice must be a row of numbers", [practice])
    n: Array = np.unique(plain.astype(float))
    if not np.all(np.isfinite(n)) or n[0] < max(form.least_count, -LARGEST_COUNT):
        raise InputError("practice holds counts that the form is not defined for", n)
    return n


def check_form(form: Form, practice: np.ndarray | None = None) -> list[str]:
    """Run the tests of a form; give what fails in words, nothing where all is well.

    The log basis must be finite, fall with practice, move with its rates as its slopes say, and be
    half as high after the half-life, at the middle of the bounds and towards both ends.

    Parameters
    ----------
    form : Form
        Any form.
    practice : array of float, optional
        Practice counts to try, 1 to 40 if not given.

    Examples
    --------
    >>> from motorlearn.curves import FORMS
    >>> check_form(FORMS["power"])
    []
    """
    if not isinstance(form, Form):
        raise InputError("only a Form can be checked", [form], "make one with make_form")
    n = np.arange(1.0, 41.0) if practice is None else _counts(practice, form)
    first, failed = float(n[0]), []
    pairs = np.log(np.array(form.bounds(n)))
    for share in (0.4, 0.55, 0.7):
        rates = list(np.exp(pairs[:, 0] + share * (pairs[:, 1] - pairs[:, 0])))
        where = ", ".join(f"{k} = {v:.3g}" for k, v in zip(form.rates, rates))
        height = form.log_basis(n, rates, first)
        if not np.all(np.isfinite(height)):
            failed.append(f"the log basis is not finite at {where}")
            continue
        if np.any(np.diff(height) > 1e-9):
            failed.append(f"the basis rises with practice at {where}")
        for k, slope in enumerate(form.slopes(n, rates, first)):
            wanted = _difference(lambda m, v: form.log_basis(m, v, first), n, rates, k)
            scale = np.max(np.abs(wanted)) + 1e-12
            if np.max(np.abs(slope - wanted)) > 1e-4 * scale:
                failed.append(f"the slope by {form.rates[k]} is not the derivative at {where}")
        with np.errstate(over="ignore"):
            half = form.half_life(rates, first)
        if np.isfinite(half):
            ends = form.log_basis(np.array([first, first + half]), rates, first)
            if abs(ends[1] - ends[0] + np.log(2)) > 1e-6:
                failed.append(f"the half-life does not halve the basis at {where}")
    return failed
