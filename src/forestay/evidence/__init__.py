"""Published numbers as data: each with unit, spread, population, source and standing."""

from forestay.evidence.loader import EvidenceSet, Reader, Row, Source, Standing, default_evidence

__all__ = ["EvidenceSet", "Reader", "Row", "Source", "Standing", "default_evidence"]
