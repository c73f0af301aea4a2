"""Fitted ``curves`` of learning, and ``diagnostics`` of an analysis with its variants."""
