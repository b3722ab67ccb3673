"""What lies above a planned line or a place: overhead angles from windows of a model."""
