"""What a report says, section by section.

before_data     The report of a study without data: its plan, and what is open in it
beside          Sections on what stands beside the comparison, each with its tables and what they
closing         Last sections of a report: what is missing, deviations, limitations, standards
conduct         How practice sessions went: who was there, pain, fatigue
exclusions      What the plan left out of the scores and what it replaced, rule by rule
exhibits        Figures of a report with their captions and alternative texts
methods_of_plan Method sections: programme, tests, outcomes and analysis, as the plan has them
outcome_tables  Tables of a report on one outcome: scores, contrasts, changes, analyses of
results         Sections of a report: what was found, put into words, figures and tables
study_tables    Tables of a report on the study: people, programme, what is missing, deviations
technique       Sections on technique and speed beside the outcome
"""
