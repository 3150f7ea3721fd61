"""Views: what a template may see. Frozen records, each field with a sentence that says what it is."""
