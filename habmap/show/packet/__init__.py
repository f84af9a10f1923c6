"""The packet for an inspector: one contract item on paper, from its acres to the photos beside it."""
