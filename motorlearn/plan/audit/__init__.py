"""The holes of a plan.

design_audit         The audit of a plan: each hole with reason, consequence and fix
finds                What a plan can find: power, detectable effect, reliability from its numbers
hole                 One hole in a plan: what is missing, why it matters, what follows and how to
holes_of_comparison  Holes in the comparison of a plan: groups, allocation, size, primary
holes_of_conduct     Holes in how a plan is to be carried out: dose, feedback, load, rules
holes_of_groups      Holes in what the groups do: what they differ in beside what is asked
holes_of_timing      Holes in when things happen: tests and practice in the order of their days
holes_of_tests       Holes in the tests of a plan: pretest, gap, feedback, length, effort, order
"""
