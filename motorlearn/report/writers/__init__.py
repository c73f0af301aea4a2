"""The document model and the formats it is written in.

contents   The document model: what a report holds, in order, before any format is chosen
numbers    Every number of a report with its recipe, as JSON that reads back into results
page       The report as one HTML page that opens without a network
word       The report as a Word document with real styles, captions and cross-references
sheet      One page to sign, as HTML and for the console; ``sheet_pdf`` as PDF
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.report.writers.sheet_pdf import to_sheet_pdf

__getattr__, __dir__ = late_names(__name__, {"to_sheet_pdf": "motorlearn.report.writers.sheet_pdf"})

__all__ = ["to_sheet_pdf"]
