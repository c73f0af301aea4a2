"""Technique from the coordinates of body landmarks.

checklist  A checklist on landmarks written in a file: from coordinates to scores in three calls
filter     Smoothing of landmark coordinates: zero-lag low-pass, residual analysis, short gaps
geometry   Angles, inclinations, rotations and paths of body landmarks
headings   Landmark files as digitisers write them: rows of headings, frames, likelihoods
motion     Speed of a landmark, and the release as the peak of the hand's speed
posture    Technique from landmarks: quantities at events and in phases, a checklist scored on them
tracks     Landmark tracks of one clip: reading, events, phases, smoothing, mirroring, levelling
"""
