"""Blank data sheets of a plan.

folder     A folder of blank sheets for a plan: to print, to fill in, and to be read back as it is
field_books  Field sheets as workbooks, with borders, page breaks and repeated headings
field_forms  What stands on the field sheets: test days, session pages, learners' pages
field_print  Field sheets, skill sheet and drill cards as pages to print
kept       What an earlier run left: files that were filled in, and the allocation
people     Who gets sheets: as given, as drawn before, continued, or drawn now
rows       The rows of blank data sheets: every planned trial, rating and session of every
workbooks  Blank workbooks: validation lists, frozen panes, print layout, and nothing a
"""
