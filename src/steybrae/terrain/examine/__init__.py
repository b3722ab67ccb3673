"""What a model's heights tell about how they were made."""
