"""One small module per command: `add_arguments(parser)` and `run(args) -> exit code`; wiring only."""

COMMANDS: dict[str, tuple[str, str]] = {
    "layout": ("assistant.commands.layout", "lay out both parts of a plan: every pass and carriage setting"),
    "suggest": ("assistant.commands.suggest", "which fingers suit a board and a blade, ranked, and why"),
    "fit": ("assistant.commands.fit", "whether the joint of a plan will go together, and which clearance serves best"),
    "draw": ("assistant.commands.draw", "both parts, the joint, 1:1 strips and a cut sheet on paper: PDF, SVG, DXF"),
    "calibrate": ("assistant.commands.calibrate", "kerf, screw, zero, backlash, with uncertainties; fit"),
    "cut": ("assistant.commands.cut", "cut a plan, hands free, with voice and pedal"),
    "resume": ("assistant.commands.resume", "come back to a session that was interrupted"),
    "journal": ("assistant.commands.journal", "list, show, export or repair the journal of sessions"),
    "phrases": ("assistant.commands.phrases", "what can be said, and when"),
    "hear": ("assistant.commands.hear", "say what the recogniser makes of a WAV file"),
    "soundcheck": ("assistant.commands.soundcheck", "levels, noise, and which phrases your voice and microphone carry"),
    "models": ("assistant.commands.models", "list, fetch or verify speech models"),
    "page": ("assistant.commands.page", "sessions on a page for phone or tablet, and the devices paired with it"),
    "ready": ("assistant.commands.ready", "what works on this machine, and the key a pedal sends"),
    "demo": ("assistant.commands.demo", "a whole session with a synthetic operator; needs no hardware"),
}
