"""Scores of a study.

``practice`` over blocks, ``scores`` of delayed tests, ``change`` and ``pairs`` from test to test,
``distributions`` and ``effects`` of groups, ``landing`` points, ``missing`` trials, ``tradeoff`` of
speed and outcome.
"""
