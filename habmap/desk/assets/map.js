// The map in the desk.
