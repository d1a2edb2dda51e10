"""What people would otherwise use, each written as well as its kind allows."""
