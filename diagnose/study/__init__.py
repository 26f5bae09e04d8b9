"""What can be known of a tree before and while it is walked."""
