"""The test plan: which tests, in which order, in which state of the set, with which limits."""
