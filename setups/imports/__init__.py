"""Bodies and parts from a member's spreadsheet: read it, say row by row what it would change, load it.

reading   bytes -> text -> rows with their line numbers
cells     what is written in a cell -> a value, or what to write instead
columns   what a column is, and which one a heading names
kinds     the columns of bodies and of parts, generated from the models and the dimension catalogue
library   the library's rows that a file speaks of
rows      one row against the library
plan      the dry run: new, changed, unchanged or wrong, a row
load      the plan carried out, whole or not at all
"""
