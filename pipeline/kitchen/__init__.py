"""What happens in the kitchen: batch sums, and batches held against published limits."""
