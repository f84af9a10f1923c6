"""Many properties, and very many stands over big elevation: cut into parts that any number of workers can do.

What a worker makes is one file a part, renamed into place when it is whole and named by a hash of what it was made
from. Nothing else is remembered anywhere: doing a part twice is harmless, and going on means looking which files are
there.
"""
