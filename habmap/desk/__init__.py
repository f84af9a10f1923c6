"""The desk: the same jobs in a web page that the steward's own computer serves to its own browser."""
