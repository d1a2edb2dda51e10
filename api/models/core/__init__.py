"""Parts of all shapes: types of fields, units, ids, pages, validation, audit log."""
