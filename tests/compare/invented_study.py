"""Invented studies for the tests of comparisons."""
