"""A simulated bench: one coupled world whose instruments speak over real transports. Knows the kit only."""
