"""Every coefficient of a mixed model without each participant in turn."""

import numpy as np
import pandas as pd

from motorlearn.audit.mixed.model import MixedModel
from motorlearn.audit.sensitivity.leave_one_out import LEAVE_ONE_OUT
from motorlearn.mixed import leave_one_out


def fit_without_each(model: MixedModel) -> pd.DataFrame:
    """Coefficients without each level of the first grouping factor, each fitted anew.

    Returns
    -------
    DataFrame
        ``participant, group, contrast, estimate, conf_low, conf_high, p, changes``; rows that
        could not be fitted without a participant hold no numbers.
    """
    fit = model.fit
    found = leave_one_out(fit)
    part = fit.design.random[0]
    groups = model.categories().get("group")
    first = pd.Series(np.arange(model.cells)).groupby(part.index).first().to_numpy()
    names = [""] * len(part.levels) if groups is None else list(groups[first])
    group_of = dict(zip(part.levels, names, strict=True))
    before = fit.estimates.set_index("term")
    was = found["term"].map(before["p"] < 0.05).to_numpy(dtype=bool)
    turned = np.sign(found["estimate"]) != np.sign(found["term"].map(before["estimate"]))
    now = (found["p"] < 0.05).to_numpy()
    return pd.DataFrame(
        {
            "participant": found["level"].astype(str),
            "group": found["level"].map(group_of).astype(str),
            "contrast": found["term"],
            "estimate": found["estimate"],
            "conf_low": found["conf_low"],
            "conf_high": found["conf_high"],
            "p": found["p"],
            "changes": found["p"].notna() & ((now != was) | (now & was & turned)),
        }
    )[list(LEAVE_ONE_OUT.names)]
