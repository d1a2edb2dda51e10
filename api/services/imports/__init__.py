"""Imports: a file or batch of trials, read, understood, checked and stored row by row.

`sheet` turns bytes into cells, `headers` names their columns, `cells` turns
text into values, `names` finds what rows speak of, `drafts` makes trials of
rows, and `batch` carries an import out.
"""
