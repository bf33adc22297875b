"""Text bound to findings: numbers as people write them, sentences, tables."""
