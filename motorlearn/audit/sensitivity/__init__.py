"""The same conclusion in other defensible ways, and without each participant.

as_recorded    The conclusion from values as recorded, before the plan's replacements
leave_one_out  Every conclusion again without each participant in turn
mixed          Variants of a mixed model
phases         Variants of the comparison of groups at one test
table          The same conclusion reached in other defensible ways: one table, one figure
"""
