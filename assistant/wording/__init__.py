"""Pure: prompts and numbers to the words that are spoken and shown. English; one file a language."""
