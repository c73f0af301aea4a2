"""A study in; a folder of pages, figures and tables out."""
