"""The forms of the learning curve; a new form is one small file and one line here."""

import numpy as np

from motorlearn.curves.forms.apex import APEX
from motorlearn.curves.forms.exponential import EXPONENTIAL
from motorlearn.curves.forms.own import check_form, make_form
from motorlearn.curves.forms.power import POWER
from motorlearn.curves.forms.power_prior import POWER_PRIOR
from motorlearn.curves.forms.s_shaped import S_SHAPED
from motorlearn.curves.forms.shape import Form
from motorlearn.curves.forms.two_processes import TWO_PROCESSES
from motorlearn.exceptions import InputError

BUILT_IN = (EXPONENTIAL, POWER, POWER_PRIOR, APEX, S_SHAPED, TWO_PROCESSES)
FORMS = {form.name: form for form in BUILT_IN}
"""Every form by name, in the order in which tables show them."""

_SPELLINGS = {
    "power with prior practice": "power_prior",
    "power_with_prior_practice": "power_prior",
    "prior_practice": "power_prior",
    "APEX": "apex",
}


def named_form(name: str) -> Form:
    """Give a form by its name; ``"power with prior practice"`` and ``"APEX"`` are known too.

    Raises
    ------
    InputError
        If there is no such form.

    Examples
    --------
    >>> named_form("power with prior practice").rates
    ('rate', 'prior_practice')
    """
    known = _SPELLINGS.get(name, name) if isinstance(name, str) else ""
    if known not in FORMS:
        raise InputError(
            "there is no learning curve of this form", [name], f"choose among {', '.join(FORMS)}"
        )
    return FORMS[known]


def register_form(form: Form) -> Form:
    """Put a form into the registry, so that every fit knows it by its name.

    It is there for this run of Python only; workers of a cluster have to register it too.

    Raises
    ------
    InputError
        If the name is taken by a form of the toolkit, or :func:`check_form` finds fault.

    Examples
    --------
    >>> hyperbola = make_form(
    ...     "hyperbola", lambda n, rate: 1 / (1 + rate * (n - 1)), rates={"rate": (1e-4, 1e3)}
    ... )
    >>> register_form(hyperbola).rates
    ('rate',)
    """
    if not isinstance(form, Form):
        raise InputError("only a Form can be registered", [form], "make one with make_form")
    if form.name in {built.name for built in BUILT_IN}:
        raise InputError("a form of the toolkit has this name", [form.name], "choose another")
    failed = check_form(form, np.arange(1.0, 41.0) + max(form.least_count, 0.0))
    if failed:
        raise InputError(f"the form {form.name!r} fails its tests", failed)
    FORMS[form.name] = form
    return form


__all__ = [
    "APEX",
    "EXPONENTIAL",
    "FORMS",
    "POWER",
    "POWER_PRIOR",
    "Form",
    "check_form",
    "make_form",
    "named_form",
    "register_form",
]
