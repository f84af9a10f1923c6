"""What people see: the page, its figures and symbols. Takes plain values; reads no source file of a place."""
