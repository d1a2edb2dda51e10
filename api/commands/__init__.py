"""The commands for operators, one module for each subject."""
