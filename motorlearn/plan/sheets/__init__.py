"""Blank data sheets of a plan.

folder     A folder of blank sheets for a plan: to print, to fill in, and to be read back as it is
kept       What an earlier run left: files that were filled in, and the allocation
rows       The rows of blank data sheets: every planned trial, rating and session of every
workbooks  Blank workbooks: validation lists, frozen panes, print layout, and nothing a
"""
