"""Imports: a file or batch of trials, read, understood, checked and stored row by row.

`sheet` turns bytes into cells, `headers` names their columns, `cells` turns text
into values, and `grouping` makes one `ImportedTrial` of the rows of each trial.
`names` finds the build and bench that they name, `shaping` validates their
values, `opening` finds or opens their sessions, and `batch` stores them.
"""
