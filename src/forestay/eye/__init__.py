"""Typed, frozen records of one eye, and what is plausible."""
