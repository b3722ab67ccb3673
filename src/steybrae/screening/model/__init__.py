"""An elevation model examined before it is believed."""
