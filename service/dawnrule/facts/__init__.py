"""What does a morning say? Check-ins, sessions and history become facts (pure)."""
