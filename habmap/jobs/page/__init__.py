"""What the map page shows beyond the ground of its day: earlier days, photo points, what came up."""
