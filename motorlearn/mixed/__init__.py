"""Linear and binomial mixed models."""
