"""What the house's own meter wrote: read from files (`reading`), joined (`log`), by the hour (`hours`), learnt from."""
