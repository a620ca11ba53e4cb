"""From the cut list to the conformed programme, in step with its sound."""
