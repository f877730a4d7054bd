"""One question put to many household documents: what may be asked, one document, and the cores that share the work."""
