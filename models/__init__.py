"""Physics and statistics of vacuum evaporation: numbers in, frozen records out. SI units."""
