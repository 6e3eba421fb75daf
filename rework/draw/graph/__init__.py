"""The circuit as a graph: blocks of words joined by lines, by graphviz; how the edits of a job are followed."""
