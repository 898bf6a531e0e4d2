"""Bill of materials, prices, what a kWh costs over the life, and what it saves."""
