"""What each thing means."""
