"""Benchmarks: what the engines cost, against a general-purpose reference in the same run."""
