"""Many plots: pooling, suppression, the shared report."""
