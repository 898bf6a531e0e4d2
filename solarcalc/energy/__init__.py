"""Light on the cells, the module's power, and the year's energy with its losses."""
