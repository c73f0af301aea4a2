"""Assumptions of comparisons: of groups at one test, within a group, and over repeated tests.

equivalence  Assumptions of an equivalence test
groups       Assumptions of a comparison of groups at each test: covariance analysis, or Welch
paired       Assumptions of change within one group: paired differences between two tests
phase_model  The comparison of groups at one test, taken apart so that its remedies can be run
repeated     Assumptions of the mixed analysis of variance, groups by phases or by blocks
"""
