"""The usual alternatives, each written as well as its kind allows."""
