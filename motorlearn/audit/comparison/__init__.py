"""Assumptions of comparisons: of groups at one test, within a group, and over repeated tests.

binomial     Groups compared at one test on the log-odds scale: hits among attempts
conditions   Conditions within people: differences, periods, who is missing
consequences How far the rate of false positives of a contrast moves: spread, shape
covariances  Groups by tests where the groups' covariances differ
equivalence  Assumptions of an equivalence test
groups       Assumptions of a comparison of groups at each test: covariance analysis, or Welch
influence    Whether one participant decides, graded by how far the contrasts move
paired       Assumptions of change within one group: paired differences between two tests
phase_model  The comparison of groups at one test, taken apart so that its remedies can be run
repeated     Assumptions of the mixed analysis of variance, groups by phases or by blocks
resampled    Remedies that draw data anew: bootstrap, imputation, permutation
skewed       What a t test of skewed changes does: its rate, from their L-skewness
slopes       Whether the baseline works alike in all groups, graded by how far differences move
spread       Shape and spread of residuals, graded by the rate of false positives
"""
