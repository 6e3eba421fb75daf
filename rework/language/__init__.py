"""Text to circuit, circuit to text, quantities, and problems with place and hint."""
