"""Frames of many curves: one row per learner and form, and the preferred form of each learner."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from motorlearn.curves.batch.claims import shown as shown_columns
from motorlearn.curves.batch.one_batch import Found
from motorlearn.curves.choice import NO_PREFERENCE, choose, criterion_weights
from motorlearn.curves.status import NO_CHANGE, STATUSES, TOO_FEW


def learner_rows(
    keys: pd.DataFrame, found: Found, forms: Sequence[str], *, visible: bool = True
) -> pd.DataFrame:
    """One row per learner and form; ``visible`` leaves out what is not estimated."""
    return pd.DataFrame(learner_columns(keys, found, forms, visible=visible), copy=False)


def learner_columns(
    keys: pd.DataFrame, found: Found, forms: Sequence[str], *, visible: bool = True
) -> dict[str, Any]:
    """The columns of these rows by name."""
    count = len(forms)
    shown: dict[str, Any] = {name: keys[name].array.repeat(count) for name in keys.columns}
    shown["form"] = _words(forms, np.tile(np.arange(count), len(keys)))
    columns = shown_columns(found, forms) if visible else found
    for name, values in columns.items():
        shown[name] = values.ravel()
    shown["n"] = shown["n"].astype(np.int64)
    shown["status"] = _words(STATUSES, shown["status"])
    weights = criterion_weights(found["aicc"], found["status"])
    shown["weight_aicc"] = weights.ravel()
    shown["weight_bic"] = criterion_weights(found["bic"], found["status"]).ravel()
    return shown


def _words(words: Sequence[str], codes: np.ndarray) -> pd.api.extensions.ExtensionArray:
    """A text column from codes."""
    named = pa.DictionaryArray.from_arrays(pa.array(codes, pa.int32()), pa.array(list(words)))
    return pd.array(named.cast(pa.large_string()), dtype="str")


def verdicts(forms: Sequence[str]) -> list[str]:
    """What can be preferred, in the order of the codes of :func:`choose`."""
    return [*forms, NO_PREFERENCE, STATUSES[NO_CHANGE], STATUSES[TOO_FEW]]


def best_forms(keys: pd.DataFrame, found: Found, forms: Sequence[str]) -> pd.DataFrame:
    """Preferred form of each learner, by AICc and by BIC."""
    names = verdicts(forms)
    shown = {name: keys[name].array for name in keys.columns}
    for criterion, end in (("aicc", ""), ("bic", "_bic")):
        verdict, best, lead, weight = choose(found[criterion], found["status"])
        shown[f"form{end}"] = _words(names, verdict)
        shown[f"best{end}"] = _words(names, best)
        shown[f"lead{end}"], shown[f"weight{end}"] = lead, weight
    return pd.DataFrame(shown, copy=False)
