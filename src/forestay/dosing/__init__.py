"""Dosing engines: preparation arithmetic and limits."""
