"""The property's folder on disk: settings, the GeoPackage store, readers and writers."""
