"""Pure arithmetic."""
