"""What a bench measured: its files read, its logs taken apart, its cells made into curves."""
