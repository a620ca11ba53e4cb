"""Packages on their way: from a folder to the store, and from the store to a folder, whole or not at all."""
