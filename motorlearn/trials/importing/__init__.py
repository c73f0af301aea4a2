"""Foreign files into a study, by a recipe that is confirmed and replayed.

additions    Add to a plan that is there what a person declares with an import
blocks       Blocks that no column numbers: by trial numbers that begin anew, or as planned
intake       Take a foreign file into a study: copy the original, propose a recipe, write it into
many_files   Many files as one table: every row still knows its file and row
names_agree  Whether what a file's name says agrees with the rows of the file
pieces       One file of many as it was opened, and what is doubtful about the files as such
proposing    Propose an import recipe for a foreign file: a reading to confirm, with the reason
said_questionnaires  Questionnaires that come in with an import: columns, scales, answers
said_rules   Rules and a smallest effect that a person declares with an import
recipe_text  Write an import recipe into the text of a plan, leaving every other line as it is
sources      Which files an import names: one, a list, a folder or a pattern
replay       Replay an import recipe: a foreign file becomes rows in standard columns, every
"""
