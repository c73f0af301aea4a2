"""Fitted ``curves``, means of ``families`` of outcomes, ``diagnostics`` of an analysis."""
