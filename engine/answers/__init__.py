"""What is asked, and answered: one module a question, its parts, notices and sums beside it."""
