"""The room of battery and inverters: air, heat, floor, clearances, fire."""
