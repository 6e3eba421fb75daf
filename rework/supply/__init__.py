"""The new supply: what the amplifier needs, what is on the shelf, every form it may take, each
solved with the amplifier as its load.
"""
