"""Named rework rules: text to rule, where it fits, what it does, and its manual."""
