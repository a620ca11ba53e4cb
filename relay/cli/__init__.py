"""The `relay` command: what people type, and what they are told."""
