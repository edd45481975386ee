"""What every part and every machine has in common: errors, units, cutters, toolpaths, tops, ridge height, markup."""
