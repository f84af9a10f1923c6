"""habmap: which ground is cut, burned, coming back or still to do, in acres a surveyor can trust.

The rooms of the house, each importing only from those before it:
``errors measures vocabulary`` → ``land`` → ``work`` → ``place`` → ``show`` → ``jobs`` → ``cli``.
"""

__version__ = "0.1.0"
