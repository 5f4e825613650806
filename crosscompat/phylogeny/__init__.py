"""Trees and tables of distances: reading them, and how far apart two species stand."""
