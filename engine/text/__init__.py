"""Delimited text as people have it: any separator, decimal sign, clock and encoding, into numbers."""
