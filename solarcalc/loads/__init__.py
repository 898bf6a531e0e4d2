"""What each board draws, hour by hour; its peaks and starts; its phases."""
