"""The floor all stages stand on; it knows nothing about solar."""
