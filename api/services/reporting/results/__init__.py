"""Give the results of trials as a tidy table, one row for each trial or each run.

`columns` says what each column is, `reading` reads the rows by parts, and `files` writes them as
CSV, a workbook or Parquet.
"""
