"""What kept and what spoiled: histories, curves, intervals, salt, trials."""

from pipeline.keeping.curves import estimate_keeping

__all__ = ["estimate_keeping"]
