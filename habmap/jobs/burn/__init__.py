"""What the jobs of a burn day share: the block and its ground, fuel, edges, forecast, records, the sheet."""
