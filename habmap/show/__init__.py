"""What people see: the page, its figures and symbols. Takes the records of work; reads no file of a place."""
