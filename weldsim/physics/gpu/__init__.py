"""The mechanics and the heat on a graphics card: same equations, same law of a point.

A step goes to the card, is solved there, and comes back when it is accepted. Where no card is, the
kernels can be tried in numba's simulator (NUMBA_ENABLE_CUDASIM=1): arrays are then numpy's.
"""
