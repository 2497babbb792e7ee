"""From sound to notes with stated uncertainty."""
