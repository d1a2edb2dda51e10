"""What the measurements of model wind turbines say: pure calculation, nothing stored.

Import the subjects: `air`, `wind`, `electrical`, `rotor`, `generator`,
`exponent`, `uncertainty` are formulas; `trial_result`, `checks` and `season`
apply them to the trials of a season.
"""
