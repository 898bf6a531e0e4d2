"""What blocks the light: the row in front, what stands on the roof, what stands around."""
