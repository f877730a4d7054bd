"""What stands in the house: banks, inverters, loads, and the document that holds them."""
