"""Where the bytes of a production lie: one port with three promises, and the stores that keep them."""
