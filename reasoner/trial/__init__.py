"""Virtual cars taken through the real session, and how well it did."""
