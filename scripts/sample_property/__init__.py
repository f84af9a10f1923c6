"""The parts of the script that writes the sample property: ground, outlines, log, walks and plots."""
