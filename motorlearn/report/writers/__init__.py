"""The document model and the formats it is written in.

contents  The document model: what a report holds, in order, before any format is chosen
numbers   Every number of a report with its recipe, as JSON that reads back into results
page      The report as one HTML page that opens without a network
word      The report as a Word document with real styles, captions and cross-references
"""
