"""The trade's symbols on one grid, in the style of IEEE 315 or of IEC 60617; one table by kind."""
