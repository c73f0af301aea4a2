"""Who practises in which group, by chance.

allocation  Allocation of participants or clusters to groups, with balance, audit log and
assignment  How chance assigns groups, on arrays: permuted blocks and minimisation
"""
