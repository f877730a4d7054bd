"""One cell: its chemistry and curve, the catalogue, and what volts, cold and years make of it."""
