"""What an operator does: back up, restore, export, erase, rebuild, look whether all is well."""
