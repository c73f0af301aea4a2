"""What must hold in a table of trials, and what is doubtful in it.

balance       Who was different at the start, and who was lost: standardised differences without
belonging     Whether the files hold what the comparison goes by: groups, and covariates of people
declared      What the plan declares about columns: where an outcome is, who is yoked to whom
defaults      A value that stands for something else: one number repeated exactly
orders        The order in which tasks were practised, against the schedule of the group
people        Rules that hold between the trials, the participants and the ratings of a study
planned       Rules that compare a study's data with its plan
problem_page  Problems as a table and as a page: grouped by rule, everything escaped, readable
problems      Problems in data: how one is recorded, and how ten thousand are shown
restarts      Numbers of trials that begin anew in each block, where no column numbers the blocks
rules         Rules that any table of trials must keep, whatever the plan says
suspicions    Values that are possible but strange: units that may be mixed, results far from the
trial_counts  Trials that were done, against the trials that were planned
"""
