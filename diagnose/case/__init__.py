"""A case: from the symptom to cured, referred or left. No input, no output, no clock."""
