"""More of the field's classics, one a file: a simulation, its picture and its lesson.

adaptation              Adaptation and after-effect: a rotated view, its removal, and its return
after_a_gap             After a gap: what is lost, what a warm-up brings back, what is saved
baseline_adjustment     Baseline adjustment: test alone, change scores, or adjusted for the baseline
ceiling                 Ceiling and floor: the same gain in ability, read from a test that ends
feedback_schedules      Schedules of feedback: after every trial, faded out, or outside a band
individual_differences  Individual differences: who responded, and who only seems to have
many_outcomes           Many outcomes: test each of them, report the one that differs
optional_stopping       Optional stopping: test, add people, test again, stop when p is below .05
part_and_whole          Part and whole: parts practised first, or the whole from the start
pauses                  Distribution of practice: trials on end, or with pauses between them
power_or_exponential    Power or exponential: which form can be told from one learner's trials
specificity             Specificity of practice: practised with an aid or without, tested both ways
speed_and_accuracy      Speed and accuracy: who is more skilled when one is faster and one accurate
variability             Variability of practice: one distance or several, the old and a new one
"""
