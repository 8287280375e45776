"""What a user takes away: pictures, marked scores, lists. One file per thing."""
