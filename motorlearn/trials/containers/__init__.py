"""Files of every known kind as a grid of texts.

apart           Old workbooks read in a process of their own, which may fail without harm
delimited       Text files: encoding, separator and decimal mark found with evidence, cells kept
grid            A sheet of cells as it stood in the file, before anything is made of it
markup          What the parts of a workbook would cost to read, told by a stream of their elements
opening         Open a file of any known kind as a grid of texts, after the safety checks
parquet         Parquet files as a grid of texts, so that they pass the same checks as any other
safety          What is refused before it is read: paths that leave the folder, files that would
statistics      Files of SPSS and Stata, with their value labels and declared missing codes
workbook        Workbooks as a grid of texts: what is hidden, merged, computed or noted in them
workbook_marks  What a workbook says beside its values: formulas, hidden and merged cells
"""
