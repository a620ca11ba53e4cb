"""What can be supposed, as people write it: for a command's help, which must not wait for a planner to load."""

FORMS = (
    "tokyo closed 2027-01-05",
    "tokyo closed 2027-01-05 to 2027-01-09",
    "kolkata one more at grade",
    "B arrives 2027-02-01",
    "B arrives 2027-02-01 at halifax",
    "halifax line 2",
)
"""One of each thing that can be supposed, as people write it; a line's number is how many times faster."""
