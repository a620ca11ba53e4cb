"""What the board shows, as rows: pure functions of the ledger's state, the production and an instant."""
