"""Where everything is placed: idioms give columns and rows, linear programming gives the x."""
