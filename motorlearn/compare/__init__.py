"""Acquisition, retention and transfer compared between groups."""
