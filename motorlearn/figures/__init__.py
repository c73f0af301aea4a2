"""A result in, axes out."""
