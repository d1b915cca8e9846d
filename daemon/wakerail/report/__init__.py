"""What people see of a run: the picture of its trace, the verdict in words, the terminal while it goes."""
