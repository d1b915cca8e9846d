"""Wakerail: a bench automation daemon for people who repair small battery-powered devices at board level."""
