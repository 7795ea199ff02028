"""What kept and what spoiled: histories, curves, intervals, salt, trials."""

from pipeline.keeping.estimates import estimate_keeping

__all__ = ["estimate_keeping"]
