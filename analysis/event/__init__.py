"""An event: its forecast, the order and drift of its runs, and its rules."""
