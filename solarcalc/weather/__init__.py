"""The year's air and sun: read, checked, mended where that can be stated, or refused."""
