"""Where everything stands: idioms give columns and rows, linear programming gives the x."""
