"""Guides of consequences, of data and design, and of shape and spread."""

from motorlearn.audit.guide import ALGEBRA, CUSTOM, SEEN, SHOWN, Guide

GENERAL = (
    # Consequences: how far the rate of false positives or the estimate moves.
    Guide(
        "size",
        "estimated rate of false positives of the nominal 5 % test",
        0.06,
        0.075,
        source="look: Cochran 1954, 4 to 6 % (from memory); act: Bradley 1978, Br J Math Stat "
        "Psychol 31:144-152, the liberal criterion of .025 to .075",
        status=SEEN,
    ),
    Guide(
        "moved",
        "largest move of a contrast by one participant, in standard errors",
        0.5,
        1.0,
        source="DFBETAS of 1 in small samples for act: Kutner et al. 2005, Applied Linear "
        "Statistical Models; half of that for look",
    ),
    Guide(
        "cook",
        "largest Cook's distance",
        1.0,
        4.0,
        source="1 is the customary cut-off, with widely varying tail probability (Muller & Chen "
        "Mok 1997); 4 moves the coefficients by two standard errors (algebra)",
        doi="10.1080/03610927708831932",
        status=SEEN,
    ),
    Guide(
        "slopes",
        "half the change of a group difference over the middle 80 % of baselines, in residual SDs",
        0.25,
        None,
        source="What Works Clearinghouse: .25 SD is what an adjustment can still be trusted "
        "with; act where the difference turns its direction, each side beyond chance",
        status=SEEN,
    ),
    Guide("flips", "participants whose removal changes the conclusion", None, None, status=SHOWN),
    Guide(
        "epsilon",
        "Greenhouse-Geisser epsilon",
        None,
        None,
        False,
        status=SHOWN,
        source=".75 chooses between two corrections (Girden 1992); it measures no harm",
    ),
    Guide(
        "box",
        "p of Box's M",
        None,
        None,
        False,
        status=SHOWN,
        source=".001: Tabachnick & Fidell (from memory)",
    ),
    Guide(
        "n_ratio",
        "largest over smallest group",
        None,
        None,
        status=SHOWN,
        source="1.5: Stevens, Applied Multivariate Statistics (from memory)",
    ),
    Guide(
        "slope_gain",
        "AIC gained by random slopes that were left out",
        None,
        None,
        status=SHOWN,
        source="2 and 10: Burnham & Anderson 2004 (from memory)",
        doi="10.1177/0049124104268644",
    ),
    # Data and design.
    Guide(
        "unit",
        "units that differ from those allocated",
        None,
        0,
        source="Hurlbert 1984, Ecological Monographs 54:187-211",
        doi="10.2307/1942661",
    ),
    Guide(
        "few clusters",
        "fewest classes in a group",
        10,
        6,
        False,
        status=CUSTOM,
    ),
    Guide(
        "design effect",
        "variance of a mean of people, against people who are independent",
        None,
        None,
        source="Kish 1965, Survey Sampling",
        status=SHOWN,
    ),
    Guide(
        "order",
        "orders of conditions that cannot be taken out",
        None,
        0,
        source="Senn 2002, Cross-over Trials in Clinical Research",
    ),
    Guide(
        "bound",
        "share of scores at a bound",
        0.15,
        0.30,
        source="act: twice the other, no source; look: Terwee et al. 2007, J Clin Epidemiol "
        "60:34-42, persons' scores of questionnaires",
        status=SEEN,
    ),
    Guide(
        "missing",
        "share missing",
        0.05,
        0.20,
        source="rule of 5 and 20 %: Schulz & Grimes 2002, Lancet 359:781-785",
        doi="10.1016/S0140-6736(02)07882-0",
    ),
    Guide(
        "missing_by_group",
        "largest difference in share missing between groups",
        0.063,
        0.109,
        # These are the bounds where 10 % are missing over all; the check takes those of its study.
        source="cautious and optimistic bound for the share that is missing over all: What Works "
        "Clearinghouse, standards handbook 4.0, table II.1; Deke & Chiang 2017 for the model",
        doi="10.1177/0193841X16670047",
        status=SEEN,
    ),
    Guide(
        "dropped",
        "share of participants left out for a missing cell",
        0.0,
        0.20,
        source="as for missing; act only where more than 5 % of the scores are missing, too",
    ),
    Guide(
        "primaries",
        "comparisons called primary",
        1,
        1,
        source="one primary, the rest secondary or exploratory (JARS-Quant 2018); no number there",
        status=CUSTOM,
    ),
    # Shape and spread.
    Guide(
        "skewness",
        "absolute skewness of residuals",
        2.0,
        None,
        source="skewness of 693 real samples stayed within two and a half (Blanca 2013); F kept "
        "its rate in all non-normal conditions tried (Blanca et al. 2017), so shape alone "
        "asks for a look only",
        doi="10.7334/psicothema2016.383",
        status=SEEN,
    ),
    Guide(
        "sd_ratio",
        "largest over smallest standard deviation",
        2.0,
        4.0,
        source="look, for groups of equal size: Moore, McCabe & Craig, Introduction to the "
        "Practice of Statistics, ch. 12; act: twice that, no source. Stricter: 1.73 (Dean & Voss "
        "1999, p. 112), and 1.22 where sizes differ (Blanca et al. 2018)",
        doi="10.3758/s13428-017-0918-2",
        status=SEEN,
    ),
    Guide(
        "count_spread",
        "largest over smallest standard deviation of simulated residuals",
        1.3,
        2.0,
        status=CUSTOM,
    ),
    Guide(
        "effects",
        "absolute skewness of random effects",
        0.5,
        None,
        source="fixed effects hardly suffer: Schielzeth et al. 2020, so never act; .5 has no "
        "source",
        doi="10.1111/2041-210X.13434",
        status=CUSTOM,
    ),
    Guide(
        "overlap",
        "share of participants inside the baseline range all groups share",
        0.75,
        0.50,
        False,
        status=CUSTOM,
    ),
    Guide(
        "reliability",
        "reliability of the baseline score",
        0.70,
        0.40,
        False,
        source="act: Cicchetti 1994 (from memory); look: Nunnally 1978, p. 245, and Terwee "
        "et al. 2007",
        status=SEEN,
    ),
    Guide(
        "curvature",
        "absolute correlation of residuals with the squared prediction",
        0.30,
        0.50,
        status=CUSTOM,
    ),
    Guide(
        "smallest p",
        "smallest p that the draw of a single case can give",
        0.05,
        0.999,
        source="a test whose smallest p is above its level cannot reject",
        status=ALGEBRA,
    ),
    Guide(
        "sessions of a phase",
        "sessions of the shortest phase",
        5,
        None,
        False,
        source="five data points a phase: What Works Clearinghouse, single-case standards "
        "(Kratochwill et al. 2013, Remedial Spec Educ 34:26-38)",
        doi="10.1177/0741932512452794",
    ),
    Guide(
        "lag one",
        "largest lag-1 correlation of sessions, bias taken out",
        0.2,
        None,
        source="mean of published series, .20: Shadish & Sullivan 2011, Behav Res Methods "
        "43:971-980",
        doi="10.3758/s13428-011-0111-y",
    ),
    Guide(
        "drift of A",
        "Kendall's tau of score and session in the first phase, towards better",
        0.4,
        None,
        source="a baseline tau above .40 asks for correction: Parker et al. 2011, Behav Ther "
        "42:284-299",
        doi="10.1016/j.beth.2010.08.006",
    ),
)
