"""A study in; a folder of pages, figures and tables out.

``view`` gives an analysis its voice; ``sections`` puts it into a document with figures and tables,
``methods`` names the sources; ``writers`` writes the document; ``figure_cache`` knows what an
earlier report still holds; ``writing`` fills the folder. ``study_page`` holds every
test of a study, ``kept_page`` reads it back and holds it against the study, ``supervisor`` is the
one page to sign. ``several`` and
``meta_analysis`` put studies together; they are loaded where they are used.
"""

from typing import TYPE_CHECKING

from motorlearn.doors import late_names

if TYPE_CHECKING:
    from motorlearn.report.kept_page import agreement, changed_files, read_page, recompute
    from motorlearn.report.prints import drawn_anew, taken_over
    from motorlearn.report.registration import register_plan
    from motorlearn.report.study_page import StudyAudit, audit_study
    from motorlearn.report.supervisor import SupervisorPage, supervisor_page
    from motorlearn.report.writing import write_report

__getattr__, __dir__ = late_names(
    __name__,
    {
        "StudyAudit": "motorlearn.report.study_page",
        "SupervisorPage": "motorlearn.report.supervisor",
        "agreement": "motorlearn.report.kept_page",
        "audit_study": "motorlearn.report.study_page",
        "drawn_anew": "motorlearn.report.prints",
        "taken_over": "motorlearn.report.prints",
        "changed_files": "motorlearn.report.kept_page",
        "read_page": "motorlearn.report.kept_page",
        "recompute": "motorlearn.report.kept_page",
        "register_plan": "motorlearn.report.registration",
        "supervisor_page": "motorlearn.report.supervisor",
        "write_report": "motorlearn.report.writing",
    },
)

__all__ = [
    "StudyAudit",
    "SupervisorPage",
    "agreement",
    "audit_study",
    "changed_files",
    "drawn_anew",
    "read_page",
    "recompute",
    "register_plan",
    "supervisor_page",
    "taken_over",
    "write_report",
]
