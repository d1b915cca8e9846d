"""What happens to a machine: people use it, and faults act on it, whatever its firmware does."""
