"""Publish the trials of schools to the keys of other schools."""
