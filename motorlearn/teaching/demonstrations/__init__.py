"""Demonstrations for a lecture.

averaged_curves      Why averages mislead: the average of exponential learners need not be
classics             More of the field's classics, one a file
demonstration        What every demonstration gives: its settings, its numbers, one conclusion
faces                A demonstration as a lecturer uses it: question, prediction, reveal
feedback_dependence  Feedback dependence: practice that leans on feedback looks good until the
illustration         A result that is a handful of series and a handful of estimates
lesson               What a lesson declares: question, predictions, controls, simulation, picture,
lessons              The lessons by name
page                 A demonstration as one HTML file that needs no installation
pictures             Pictures of the first six demonstrations, as scenes with fixed axes
pooled_trials        Pooled trials deceive: counting trials as if they were people finds
practice_and_tests   Performance is not learning: two groups practise, and are tested after a gap
practice_course      Groups that practise and are tested: people around expected errors
regression_to_mean   Regression to the mean: one group, chosen for a poor pretest, gets better by
scene                The picture of a demonstration as data: panels with fixed axes, marks
scene_drawing        A scene drawn with matplotlib, large enough for a projector
twenty_attempts      Twenty attempts are few: what chance alone does to a count of hits
two_groups           Two groups of people: means, differences and their tables, shared by the
"""
