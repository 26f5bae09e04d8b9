"""A round: a checklist on the same cautions and screens; what it finds wrong opens a case."""
