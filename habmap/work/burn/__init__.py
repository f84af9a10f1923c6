"""What decides about a burn: its winds and hours, the sides of its block, the fuel on it and what lies around."""
