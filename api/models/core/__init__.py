"""What all shapes are made of: types of fields, units, ids, pages, validation, audit log."""
