"""Heat: what a thermal trace says, and a model of plate and board. Pure: no I/O, no clock."""
