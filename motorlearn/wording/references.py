"""Sources of the methods that a report may use; entries were recalled, so authors check them."""

from collections.abc import Iterable
from typing import Final

SOURCES: Final[dict[str, tuple[str, ...]]] = {
    "adjusted contrast": (
        "Vickers, A. J., & Altman, D. G. (2001). Analysing controlled trials with baseline and "
        "follow up measurements. BMJ, 323, 1123-1124. doi:10.1136/bmj.323.7321.1123",
    ),
    "Welch": (
        "Welch, B. L. (1947). The generalization of 'Student's' problem when several different "
        "population variances are involved. Biometrika, 34, 28-35. "
        "doi:10.1093/biomet/34.1-2.28",
    ),
    "g": (
        "Hedges, L. V. (1981). Distribution theory for Glass's estimator of effect size and "
        "related estimators. Journal of Educational Statistics, 6, 107-128. "
        "doi:10.3102/10769986006002107",
    ),
    "Holm": (
        "Holm, S. (1979). A simple sequentially rejective multiple test procedure. Scandinavian "
        "Journal of Statistics, 6, 65-70.",
    ),
    "analysis of variance": (
        "Greenhouse, S. W., & Geisser, S. (1959). On methods in the analysis of profile data. "
        "Psychometrika, 24, 95-112. doi:10.1007/BF02289823",
        "Huynh, H., & Feldt, L. S. (1976). Estimation of the Box correction for degrees of freedom "
        "from sample data in randomized block and split-plot designs. Journal of Educational "
        "Statistics, 1, 69-82. doi:10.3102/10769986001001069",
        "Lecoutre, B. (1991). A correction for the epsilon approximate test in repeated measures "
        "designs with two or more independent groups. Journal of Educational Statistics, 16, "
        "371-372. doi:10.3102/10769986016004371",
        "Olejnik, S., & Algina, J. (2003). Generalized eta and omega squared statistics: measures "
        "of effect size for some common research designs. Psychological Methods, 8, 434-447. "
        "doi:10.1037/1082-989X.8.4.434",
    ),
    "equivalence": (
        "Schuirmann, D. J. (1987). A comparison of the two one-sided tests procedure and the power "
        "approach for assessing the equivalence of average bioavailability. Journal of "
        "Pharmacokinetics and Biopharmaceutics, 15, 657-680. doi:10.1007/BF01068419",
    ),
    "multiverse": (
        "Steegen, S., Tuerlinckx, F., Gelman, A., & Vanpaemel, W. (2016). Increasing transparency "
        "through a multiverse analysis. Perspectives on Psychological Science, 11, 702-712. "
        "doi:10.1177/1745691616658637",
    ),
    "interim look": (
        "Lan, K. K. G., & DeMets, D. L. (1983). Discrete sequential boundaries for clinical "
        "trials. Biometrika, 70, 659-663. doi:10.1093/biomet/70.3.659",
        "Jennison, C., & Turnbull, B. W. (1989). Interim analyses: the repeated confidence "
        "interval approach. Journal of the Royal Statistical Society B, 51, 305-361. "
        "doi:10.1111/j.2517-6161.1989.tb01433.x",
    ),
    "landing points": (
        "Hancock, G. R., Butler, M. S., & Fischman, M. G. (1995). On the problem of "
        "two-dimensional error scores: measures and analyses of accuracy, bias, and consistency. "
        "Journal of Motor Behavior, 27, 241-250. doi:10.1080/00222895.1995.9941714",
    ),
    "mixed model": (
        "Bates, D., Mächler, M., Bolker, B., & Walker, S. (2015). Fitting linear mixed-effects "
        "models using lme4. Journal of Statistical Software, 67(1). "
        "doi:10.18637/jss.v067.i01",
        "Nakagawa, S., & Schielzeth, H. (2013). A general and simple method for obtaining R² from "
        "generalized linear mixed-effects models. Methods in Ecology and Evolution, 4, 133-142. "
        "doi:10.1111/j.2041-210x.2012.00261.x",
    ),
    "Satterthwaite": (
        "Satterthwaite, F. E. (1946). An approximate distribution of estimates of variance "
        "components. Biometrics Bulletin, 2, 110-114. doi:10.2307/3002019",
    ),
    "Kenward-Roger": (
        "Kenward, M. G., & Roger, J. H. (1997). Small sample inference for fixed effects from "
        "restricted maximum likelihood. Biometrics, 53, 983-997. doi:10.2307/2533558",
    ),
    "proportions": (
        "Newcombe, R. G. (1998). Interval estimation for the difference between independent "
        "proportions: comparison of eleven methods. Statistics in Medicine, 17, 873-890. "
        "doi:10.1002/(SICI)1097-0258(19980430)17:8<873::AID-SIM779>3.0.CO;2-I",
    ),
    "curves": (
        "Burnham, K. P., & Anderson, D. R. (2004). Multimodel inference: understanding AIC and BIC "
        "in model selection. Sociological Methods & Research, 33, 261-304. "
        "doi:10.1177/0049124104268644",
        "Heathcote, A., Brown, S., & Mewhort, D. J. K. (2000). The power law repealed: the case "
        "for an exponential law of practice. Psychonomic Bulletin & Review, 7, 185-207. "
        "doi:10.3758/BF03212979",
    ),
    "single case": (
        "Edgington, E. S., & Onghena, P. (2007). Randomization tests (4th ed.). Chapman & Hall.",
        "Parker, R. I., & Vannest, K. J. (2009). An improved effect size for single-case research: "
        "nonoverlap of all pairs. Behavior Therapy, 40, 357-367. doi:10.1016/j.beth.2008.10.006",
        "Parker, R. I., Vannest, K. J., Davis, J. L., & Sauber, S. B. (2011). Combining nonoverlap "
        "and trend for single-case research: Tau-U. Behavior Therapy, 42, 284-299. "
        "doi:10.1016/j.beth.2010.08.006",
        "Tate, R. L., Perdices, M., Rosenkoetter, U., et al. (2016). The Single-Case Reporting "
        "Guideline In BEhavioural Interventions (SCRIBE) 2016 statement. Aphasiology, 30, 862-876. "
        "doi:10.1080/02687038.2016.1178022",
    ),
    "population curve": (
        "Pinheiro, J. C., & Bates, D. M. (2000). Mixed-effects models in S and S-PLUS. Springer. "
        "doi:10.1007/b98882",
    ),
    "agreement": (
        "Bland, J. M., & Altman, D. G. (1986). Statistical methods for assessing agreement between "
        "two methods of clinical measurement. Lancet, 327, 307-310. "
        "doi:10.1016/S0140-6736(86)90837-8",
        "Koo, T. K., & Li, M. Y. (2016). A guideline of selecting and reporting intraclass "
        "correlation coefficients for reliability research. Journal of Chiropractic Medicine, 15, "
        "155-163. doi:10.1016/j.jcm.2016.02.012",
        "McGraw, K. O., & Wong, S. P. (1996). Forming inferences about some intraclass correlation "
        "coefficients. Psychological Methods, 1, 30-46. doi:10.1037/1082-989X.1.1.30",
    ),
}
"""Entries by what makes a report need them."""


def references(used: Iterable[str]) -> list[str]:
    """Entries for the methods that were used, in the order of their authors.

    Examples
    --------
    >>> [entry.split(",")[0] for entry in references(["Welch", "g"])]
    ['Hedges', 'Welch']
    """
    return sorted({entry for name in used for entry in SOURCES[name]})
