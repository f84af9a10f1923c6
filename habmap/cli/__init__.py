"""The command line: parse, call a job, print its result, set the exit code."""
