"""Two prints of one reel put side by side, by small pictures of their frames."""
