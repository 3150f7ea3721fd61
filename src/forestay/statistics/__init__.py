"""Statistics of audit: intervals, charts, calibration, shrinkage. Knows nothing of eyes, files or pages."""
