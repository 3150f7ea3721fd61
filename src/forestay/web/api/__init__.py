"""The JSON interface: the calculations by name, and whether the server is up."""
