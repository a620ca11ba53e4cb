"""What a package is made of: its manifest, its names, its numbered frames. Values and rules; reads no disk."""
