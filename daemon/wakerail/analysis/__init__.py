"""Reading a boot from what a supply and a USB host saw: numbers in, findings out, nothing else."""
