"""The educator's review of recorded practice: the session sheet, corrections and judgements."""
