"""What makes, breaks or measures the instrument; nothing outside imports it."""
