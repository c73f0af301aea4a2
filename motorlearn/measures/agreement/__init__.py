"""Agreement of raters.

advice     Which agreement coefficient fits the score a study uses, and how to read it
agreement  Rater agreement: which raters agree, how far, and which coefficient the study's score
frames     Frames of agreement coefficients from arranged ratings
icc        Intraclass correlation in its six forms, and the measurement error that belongs to each
kappa      Chance-corrected agreement on categories: kappa, weighted kappa, Fleiss' kappa, AC1
limits     Limits of agreement between two raters, drift over the order of clips, and re-rating
table      From a long table of ratings to items by raters, with everything odd refused or listed
"""
