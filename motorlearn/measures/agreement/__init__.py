"""Agreement of raters.

advice        Which agreement coefficient fits the score a study uses, and how to read it
agreement     Rater agreement: which raters agree, how far, and which coefficient the score needs
alpha         Krippendorff's alpha, which accepts missing ratings
coefficients  Frame of all coefficients of a table of ratings, each with its own number of items
crossed       Variances of items, raters and error, also where not every rater saw every item
frames        Frames of what stands behind: pairs, limits, error, drift, re-rating
icc           Intraclass correlation in its six forms
kappa         Chance-corrected agreement on categories: kappa, weighted kappa, Fleiss' kappa, AC1
limits        Limits of agreement between two raters, drift over the order of clips
names         Names and orders as people write them: no name lost, no order guessed
patterns      Patterns of ratings, and intervals that hold with few items and rare categories
planning      How many raters and clips a wanted precision needs
pivots        Intervals of agreement that hold with two or three raters
table         From a long table of ratings to items by raters, everything odd refused or listed
totals        Totals over the items of a checklist: a missing item never counts as zero
"""
