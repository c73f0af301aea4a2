"""The class experiment without Python on thirty screens: a page, its results, and their merging.

page        The page of a class, its plan and its slips of seats
codes       A sitting as a code to read aloud
collecting  Files and codes of a class into one study folder
serving     The page on the network of the room, when asked
"""
