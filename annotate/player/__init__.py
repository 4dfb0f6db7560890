"""What one player has found out: notes played, and a flute's file fitted to them."""
