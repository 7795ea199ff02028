"""Answer tables in, sentences out; one module for each section of a page."""
