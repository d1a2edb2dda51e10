"""Submit, correct and withdraw trials, and answer their flags."""
