"""From rows to columns: frames of trials with their results, sweeps and flags."""
