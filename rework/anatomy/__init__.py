"""What an amplifier is: how current gets through its parts, its line side, rails and common, its
heaters, its stages from input to load.
"""
