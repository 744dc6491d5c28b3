"""What a session keeps of its times."""

BEGUN, SEEN = "begun_at", "seen_at"  # seconds since 1970, in the session
