"""A result in, a table of assumptions out."""
