"""The pages themselves, a module for each subject."""
