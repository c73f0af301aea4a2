"""Conditions that each person meets: compared within people.

scores      Scores of people by condition and phase, with the period and the sequence of each
effects     Differences between conditions and between periods, from the differences of people
rows        Their rows: contrasts, periods and carry-over, analysis of variance
mixed       The same contrasts from a mixed model, which uses people who missed a condition
comparing   What ``compare_phases`` and ``compare_blocks`` give for such a design
"""
