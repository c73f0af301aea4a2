"""A study in; a folder of pages, figures and tables out.

``findings`` computes, ``people`` counts who is there, ``scores`` averages; ``exhibits`` and
``tabled`` make figures and tables, ``sections`` puts them into a document, whose shape is in
``contents``; ``page`` writes it as HTML and ``writing`` fills the folder.
"""

from motorlearn.report.writing import write_report

__all__ = ["write_report"]
