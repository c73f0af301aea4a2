"""The forms of the learning curve; a new form is one small file and one line here."""

from motorlearn.curves.forms.apex import APEX
from motorlearn.curves.forms.exponential import EXPONENTIAL
from motorlearn.curves.forms.power import POWER
from motorlearn.curves.forms.power_prior import POWER_PRIOR
from motorlearn.curves.forms.shape import Form
from motorlearn.exceptions import InputError

FORMS = {form.name: form for form in (EXPONENTIAL, POWER, POWER_PRIOR, APEX)}
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


__all__ = ["APEX", "EXPONENTIAL", "FORMS", "POWER", "POWER_PRIOR", "Form", "named_form"]
