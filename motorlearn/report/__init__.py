"""A study in; a folder of pages, figures and tables out.

``findings`` computes, ``extras`` what stands beside, ``people`` counts who is there, ``scores``
averages; ``exhibits``, ``study_tables`` and ``outcome_tables`` make figures and tables;
``sections``, ``side_sections`` and ``closing_sections`` put them into a document, whose shape is in
``contents``, with the sources of the ``methods``; ``page``, ``word`` and ``numbers`` write it;
``keeping`` knows what an earlier report still holds; ``writing`` fills the folder. ``several`` and
``synthesis`` put studies together; they are loaded where they are used.
"""

from motorlearn.report.writing import write_report

__all__ = ["write_report"]
