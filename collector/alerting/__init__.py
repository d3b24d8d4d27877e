"""Who is told what, and how it reaches them."""
