"""The curves of many learners at once.

chunks      From a table or a Parquet data set to batches of learners; whole learners, in fixed
described   From the best points to natural parameters and their standard errors
grids       Nodes and cells of the log rate for one set of practice counts, with the basis on each
hit_rows    Hits of learners in rows: basis of a rate, loss and Newton steps of the coefficients
hit_starts  Where the search for the curve of hits of many learners starts: the lows along the log
hits        Curves of hits, for forms whose log basis is linear in one rate: by Newton's method
incomplete  Fast curves of learners who share a range of practice but miss some of it, or repeat
learners    The learning curves of many learners: the public fit, its result, where the work runs
one_batch   One batch of learners, every form: which engine fits whom, and what each fit can claim
padded      Curves of learners with practice counts of their own: any form, missing rows
quick_...   Quick search of forms with several rates: starts, surfaces, sums, who is sure
shared      Fast curves of learners who share their practice counts: one matrix product, then
storing     Rows of many curves written to a Parquet file as they are made, and counted on the way
straight    From the straight line of scores on the basis to natural parameters and standard errors
"""
