"""Random libraries, and plain slow ways of working out what the program works out fast."""
