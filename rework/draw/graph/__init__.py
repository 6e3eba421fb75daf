"""The circuit as a graph by graphviz: blocks of words joined by lines; how edits are followed."""
