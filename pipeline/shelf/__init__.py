"""What is on the shelf, how long it lasts, what to use first, what to make."""
