"""Tasks of the operator: back up, restore, export, erase, rebuild, diagnose."""
