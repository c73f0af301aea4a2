"""What a report says, section by section.

beside          Sections on what stands beside the comparison, each with its tables and what they
closing         Last sections of a report: what is missing, deviations, limitations, standards
exhibits        Figures of a report with their captions and alternative texts
outcome_tables  Tables of a report on one outcome: scores, contrasts, changes, analyses of
results         Sections of a report: what was found, put into words, figures and tables
study_tables    Tables of a report on the study: people, programme, what is missing, deviations
"""
