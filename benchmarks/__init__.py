"""Speed in one run, as ratios: `python -m benchmarks` prints one JSON line each. Never part of the tests."""
