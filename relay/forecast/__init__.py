"""From the ledger to a plan of what is still to be done, and back to words. Pure."""
