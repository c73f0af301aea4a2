"""A study made ready to give away.

behaviour_standard  The package by the rules of Psych-DS: where tables lie, what describes them
data_package  A data package: Table Schema and descriptor for the tables of a study
packing       Make a package to give away: de-identified, described, with sums, and honest about
privacy       Columns that may identify a person: found by heading and by what is in them, and
pseudonyms    Study identifiers instead of names: drawn at random, the key kept in a file
small_cells   Characteristics that few people share
texts         The texts of a package to give away: README, licence, citation
"""
