"""How the documentation is built: ``sphinx-build -W docs docs/_build``."""

import shutil
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import command_pages  # noqa: E402
import measured  # noqa: E402
import validation_page  # noqa: E402
import word_pages  # noqa: E402

import motorlearn  # noqa: E402

project = "motorlearn"
author = "The motorlearn developers"
project_copyright = "2026, the motorlearn developers. GPL-3.0-or-later"
version = release = motorlearn.__version__
language = "en_GB"

extensions = [
    "myst_nb",
    "sphinx.ext.autodoc",
    "numpydoc",
    "mathml",
]
exclude_patterns = ["_build", "jupyter_execute", "**/.ipynb_checkpoints", "generated/*.md"]

# Notebooks are shown as they were stored; pytest runs them.
nb_execution_mode = "off"
nb_mime_priority_overrides = [("html", "text/html", 0), ("html", "image/png", 5)]
myst_enable_extensions = ["deflist"]
myst_heading_anchors = 3

autodoc_member_order = "bysource"
autodoc_typehints = "none"
numpydoc_show_class_members = False
numpydoc_xref_param_type = False

html_theme = "alabaster"
html_title = f"motorlearn {release}"
html_static_path = ["_static"]
html_css_files = ["reading.css"]
html_theme_options = {
    "description": "Practice studies of motor skills: plan, check, analyse, report",
    "fixed_sidebar": False,
    "page_width": "64rem",
    "sidebar_width": "15rem",
    "font_family": "system-ui, sans-serif",
    "head_font_family": "system-ui, sans-serif",
    "link": "#00558b",
    "link_hover": "#003a60",
    "gray_1": "#222222",
    "gray_2": "#595959",
}
html_sidebars = {"**": ["about.html", "searchbox.html", "navigation.html"]}
html_show_sphinx = False
html_math_renderer = "mathml"


def _bring_notebooks() -> None:
    """Copy the notebooks beside the pages that link to them."""
    target = HERE / "generated" / "notebooks"
    target.mkdir(parents=True, exist_ok=True)
    for old in target.glob("*.ipynb"):
        old.unlink()
    for notebook in sorted((HERE.parent / "notebooks").glob("*.ipynb")):
        shutil.copyfile(notebook, target / notebook.name)


_bring_notebooks()
command_pages.write(HERE / "generated" / "commands.md")
word_pages.write(HERE / "generated")
measured.write(HERE / "generated" / "goals_and_results.md")
validation_page.write(
    HERE.parent / "tests" / "reference", HERE / "generated" / "validation_cases.md"
)
