"""What users of statsmodels ask of a fit: summary, params, bse, pvalues, conf_int."""

import pandas as pd

from motorlearn.linear.hypotheses import require_level, t_quantile


class Habits:
    """Estimates by term, of a fit whose ``estimates`` have ``term, estimate, std_error, df, p``."""

    estimates: pd.DataFrame

    def summary(self) -> str:
        """The tables of the fit as text, for ``print``."""
        return str(self)

    @property
    def params(self) -> pd.Series:
        """Fixed effects by term."""
        return self._by_term("estimate")

    @property
    def bse(self) -> pd.Series:
        """Standard errors of the fixed effects by term."""
        return self._by_term("std_error")

    @property
    def pvalues(self) -> pd.Series:
        """p of the fixed effects by term."""
        return self._by_term("p")

    def conf_int(self, level: float = 0.95) -> pd.DataFrame:
        """Intervals of the fixed effects by term: column 0 the lower, column 1 the upper limit."""
        require_level(level)
        half = t_quantile(level, self.estimates["df"].to_numpy()) * self.bse
        return pd.DataFrame({0: self.params - half, 1: self.params + half})

    def _by_term(self, name: str) -> pd.Series:
        return self.estimates.set_index("term")[name]
