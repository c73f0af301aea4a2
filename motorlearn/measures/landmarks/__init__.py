"""Technique from the coordinates of body landmarks.

filter    Smoothing of landmark coordinates: zero-lag low-pass, residual analysis, short gaps
geometry  Angles, inclinations, rotations and paths of body landmarks, in degrees and the input's
posture   Technique from landmarks: quantities at events and in phases, and a checklist scored on
tracks    Landmark tracks of one clip: reading any digitiser's table, events, phases and smoothing
"""
