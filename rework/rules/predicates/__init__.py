"""What the conditions of a rule ask, a function each."""
