"""Writing one row: words -> cells of a log -> a line in the file's own form; and taking it back."""
