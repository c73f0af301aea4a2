"""Arrays in, scores out."""
