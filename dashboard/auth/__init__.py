"""Who is at the door: sign-in, sessions, what each may do, and the pages that manage it."""
