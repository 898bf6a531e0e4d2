"""The battery: what a bank holds, gives and takes, and how long it lasts."""
