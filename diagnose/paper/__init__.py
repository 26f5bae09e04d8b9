"""What is printed: diagrams, wall charts, handovers and quiz sheets."""
