"""The estate judged again with something gone."""
