"""Allocation of people, or of their classes, to groups.

allocation      The list of who is in which group, with balance, audit log and hidden groups
assignment      How chance assigns groups, on arrays: permuted blocks and minimisation
continuing      A kept list: checked against its sums, and continued without moving anybody
enrolled        The list of people to allocate: identifiers, strata and clusters, checked by name
planned         The allocation that a plan asks for: its sizes, its method, its unit and its seed
predictability  How well somebody who knows the earlier allocations can tell the next one
"""
