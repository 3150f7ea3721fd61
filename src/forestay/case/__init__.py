"""A case as a growing list of facts, and everything that is a pure function of them."""
