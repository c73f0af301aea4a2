"""From a formula and a table to numeric matrices.

designs   A table made ready for the engine: rows with missing values set aside, like rows put
formulas  Which formulas are allowed, checked before anything is built from them
matrices  Formula and table in, numeric matrix out, with what is needed to make the same columns
"""
