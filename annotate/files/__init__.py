"""The user's file: bytes in and out, and our marks in them."""
