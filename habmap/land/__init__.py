"""The ground itself: arrays and geometries in, numbers out. Touches no file, clock, environment or screen."""
