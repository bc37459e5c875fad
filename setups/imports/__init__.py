"""The library from files, CSV or JSON Lines: read one, say row by row what it would change, load it.

reading       bytes -> text -> rows with their line numbers; jsonlines for objects a line
cells         what is written in a cell -> a value, or what to write instead
columns       what a column is, and which one a heading names
kinds         what files there are; record_kinds, posted_kinds and fields for their columns
plan          the dry run: headings and values, then what each row would do (planned)
load          the plan carried out, whole or not at all

What plans the rows of a kind and carries them out, each with ``plan_rows`` and ``carry_out``:
things        bodies and parts (library, rows, figures)
posted        setups (contents)
readings      measurements
history       disputes and the record, with a whole library
records       everything else
"""
