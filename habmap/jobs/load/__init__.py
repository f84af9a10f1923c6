"""What ``load`` brings: layers, rasters and photos by modules of their own, tables by one."""
