"""Ultrasound length, lens power, lens positions, schematic eyes, astigmatism, and what an incision induces."""
