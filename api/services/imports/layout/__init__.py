"""Understand sheets as people keep them, and lay them out in the columns of an import.

`titles` reads a title by its meaning, with the words of `title_words`; `tables` finds the tables of
a sheet and what is around them; `wide` makes a row of each reading; `texts` and `days` bring
cells into the form of the template; `filling` repeats names that are written once. `lay_out` does
all of it, and lists each guess with its reason and each question that only a person can answer.
"""
