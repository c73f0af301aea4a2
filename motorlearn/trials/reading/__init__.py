"""From a grid of texts to a table in standard columns.

blinded      Ratings of clips: whose clips they are comes from the concealed key, at reading
conversion   Changes of unit that a person decided; each is logged with the number of values it
dates        Dates as they are typed: ISO first; an order of day and month is found, never guessed
headings     Where the headings of a sheet are, and which standard column each one names
identifiers  Identifiers that may be one person written differently: ``P7``, ``P07``, ``p 7``
notation     How a result is written in a cell: 12, 12/20, 12 of 20, 60 %, 0.6, or a word for
set_aside    Rows of a file that hold no data: blank ones, repeated headings, totals at the end
sheet        A sheet in standard columns that still knows where each value stood in its file
standard     From a grid of texts to a table in standard columns, with every doubt and change
trials_file  Read a file of trials: open, name the columns, convert, check; everything doubtful
values       From texts to values: numbers, labels and flags, with every doubt named and every
wide         From one row per participant and one column per test to one row per participant and
"""
