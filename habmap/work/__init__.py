"""What was done and what comes next: plain records in, plain records out. Touches no file, clock or screen."""
