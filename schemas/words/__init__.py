"""How things are said, once for sentences, pages and labels: numbers, days, ways of keeping."""
