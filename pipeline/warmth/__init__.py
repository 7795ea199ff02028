"""Degree days, weather years, and when a crop is ready."""

from pipeline.warmth.timing import fit_crop_timing, predict_first_pick

__all__ = ["fit_crop_timing", "predict_first_pick"]
