"""What each command answers, as a document; nothing is computed here."""
