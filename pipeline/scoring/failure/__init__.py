"""How likely a part fails within the time frame, in the trade's four words."""
