"""What happens, hour by hour: one step, and the trajectory made of steps."""
