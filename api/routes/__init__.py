"""The JSON contract under /v1: one file per resource, each route a signature and a line."""
