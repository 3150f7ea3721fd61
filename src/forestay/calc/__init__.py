"""The table of calculations: every computation that a person could want alone."""
