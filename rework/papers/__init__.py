"""Job papers: each module makes the content of one paper out of a job run; ``html`` puts them on
pages.
"""
