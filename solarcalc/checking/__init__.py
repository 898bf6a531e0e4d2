"""What ``solarcalc check`` prints of a site file: kept where nothing changed, soon where it did."""
