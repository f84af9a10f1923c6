"""What ``check`` looks at, one module per subject; each rule yields what is not as it must be."""
