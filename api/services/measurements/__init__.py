"""Turn rows into columns: frames of trials with their results, sweeps and flags."""
