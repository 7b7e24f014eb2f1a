"""What labels, laws and the grower say of the hour, the place and the equipment, as typed rules."""
