"""What predictions are worth once their truth is known, and how a trainee comes along. Numbers in, numbers out."""
