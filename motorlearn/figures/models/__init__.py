"""Fitted ``curves``, means of ``families``, ``variability``, ``diagnostics``."""
