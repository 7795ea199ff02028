"""Step 1 to 3 of the journey: files and sheets to typed rows, and the rows set aside."""
