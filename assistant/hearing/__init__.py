"""Microphone or WAV -> utterance -> recogniser -> accepted or rejected -> phrase, in a supervised child process."""
