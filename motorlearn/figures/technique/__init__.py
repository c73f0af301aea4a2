"""Raters and landmarks: ``agreement``, ``generalisability``, ``landmarks``."""
