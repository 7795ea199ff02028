"""Step 4: the DuckDB store that mirrors the folder, rules across logs, and what may be written where."""
