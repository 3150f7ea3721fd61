"""Risk engines: capsule complications, zonular support, the endothelium, published series."""
