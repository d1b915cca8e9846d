"""A heat as a run carries it out: its course, the heating itself, and what is concluded from its trace."""
