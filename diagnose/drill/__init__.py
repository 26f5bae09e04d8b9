"""A trainer's exercise: the program plays a faulty machine, and says how it was gone about."""
