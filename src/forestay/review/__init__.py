"""What many cases teach: outcome against plan, one's own figures, charts, and signals that stop a list."""
