"""Import a file or batch of trials: read, validate, check and store it row by row.

`sheet` turns bytes into cells, `headers` maps titles to columns, `cells` turns text
into values, and `grouping` makes one `ImportedTrial` of the rows of each trial.
`names` looks up their build and bench, `shaping` validates their
values, `opening` looks up or opens their sessions, and `batch` stores them.
"""
