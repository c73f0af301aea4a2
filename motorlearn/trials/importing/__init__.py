"""Foreign files into a study, by a recipe that is confirmed and replayed.

intake       Take a foreign file into a study: copy the original, propose a recipe, write it into
proposing    Propose an import recipe for a foreign file: a reading to confirm, with the reason
recipe_text  Write an import recipe into the text of a plan, leaving every other line as it is
replay       Replay an import recipe: a foreign file becomes rows in standard columns, every
"""
