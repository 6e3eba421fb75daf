"""The difference of two circuits by what they mean, and the matching of two circuits whose names
differ.
"""
