"""One small module per command: `add_arguments(parser)` and `run(args) -> exit code`; wiring only."""

COMMANDS: dict[str, tuple[str, str]] = {
    "init": ("assistant.commands.init", "write your shop file from a few questions, or copy an example"),
    "ready": ("assistant.commands.ready", "what works on this machine, and the key a pedal sends"),
    "calibrate": ("assistant.commands.calibrate", "kerf, screw, zero, backlash, with uncertainties; fit"),
    "phrases": ("assistant.commands.phrases", "what can be said, and when"),
    "soundcheck": ("assistant.commands.soundcheck", "levels, noise, and which phrases your voice and microphone carry"),
    "models": ("assistant.commands.models", "list, fetch or verify speech models"),
    "page": ("assistant.commands.page", "sessions on a page for phone or tablet, and the devices paired with it"),
    "completion": ("assistant.commands.completion", "what makes your shell complete commands and options"),
    "suggest": ("assistant.commands.suggest", "which fingers suit a board and a blade, ranked, and why"),
    "layout": ("assistant.commands.layout", "lay out both parts of a plan: every pass and carriage setting"),
    "fit": ("assistant.commands.fit", "whether the joint of a plan will go together, and which clearance serves best"),
    "draw": ("assistant.commands.draw", "both parts, the joint, 1:1 strips and a cut sheet on paper: PDF, SVG, DXF"),
    "cut": ("assistant.commands.cut", "cut a plan, hands free, with voice and pedal"),
    "resume": ("assistant.commands.resume", "come back to a session that was interrupted"),
    "demo": ("assistant.commands.demo", "a whole session with a synthetic operator; needs no hardware"),
    "journal": ("assistant.commands.journal", "list, show, export or repair the journal of sessions"),
    "hear": ("assistant.commands.hear", "say what the recogniser makes of a WAV file"),
}
GROUPS: dict[str, tuple[str, ...]] = {
    "Set up": ("init", "ready", "calibrate", "phrases", "soundcheck", "models", "page", "completion"),
    "Plan": ("suggest", "layout", "fit", "draw"),
    "Cut": ("cut", "resume", "demo"),
    "Look back": ("journal", "hear"),
}
"""The same commands, as `kerfcall --help` shows them."""
