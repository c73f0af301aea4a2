"""Demonstrations for a lecture.

averaged_curves      Why averages mislead: the average of exponential learners need not be
demonstration        What every demonstration gives: its settings, its numbers, one conclusion
drawings             Pictures of the demonstrations, large enough for a projector
faces                A demonstration as a lecturer uses it: question, prediction, reveal
feedback_dependence  Feedback dependence: practice that leans on feedback looks good until the
lessons              The lessons: what is asked, what may be predicted, what can be set, how it
pooled_trials        Pooled trials deceive: counting trials as if they were people finds
practice_and_tests   Performance is not learning: two groups practise, and are tested after a gap
regression_to_mean   Regression to the mean: one group, chosen for a poor pretest, gets better by
twenty_attempts      Twenty attempts are few: what chance alone does to a count of hits
two_groups           Two groups of people: means, differences and their tables, shared by the
"""
