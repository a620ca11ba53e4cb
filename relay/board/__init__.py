"""The coordinator's board: the ledger's facts as rows, and a page that shows them and says the next word."""
