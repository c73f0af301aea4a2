"""Invented studies of a plan.

attrition     What goes wrong in an invented study: withdrawals, missed tests, void trials, late
enrolment     Invented participants of a plan: who takes part and in which group
generator     The generator of invented studies, on arrays: people, practice, forgetting, landing
own_outcomes  Invented scores of outcomes that are no landing points: times, speeds, points
presets       What the generator of invented studies assumes, and the named sets of assumptions
ratings       Invented technique ratings: clips, two raters, a drift, a share rated twice
study         An invented study of a plan: trials, participants, ratings, with realistic gaps
"""
