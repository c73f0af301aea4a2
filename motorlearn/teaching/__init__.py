"""Demonstrations for a lecture and class data sets with an answer key."""
