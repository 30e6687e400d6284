"""One small module per command: `add_arguments(parser)` and `run(args) -> exit code`; wiring only."""

COMMANDS: dict[str, tuple[str, str]] = {
    "init": ("assistant.commands.init", "write your shop file from a few questions, or copy an example"),
    "ready": ("assistant.commands.ready", "see what works on this machine, and which key the pedal sends"),
    "calibrate": ("assistant.commands.calibrate", "measure kerf, screw, zero, backlash; learn clearance from joints"),
    "carriage": ("assistant.commands.carriage", "a motor-driven carriage: where it is, home it, move it, set it up"),
    "phrases": ("assistant.commands.phrases", "list what you can say, and when"),
    "soundcheck": ("assistant.commands.soundcheck", "check levels, noise, and which of your phrases are recognised"),
    "models": ("assistant.commands.models", "list, fetch or verify speech models"),
    "page": ("assistant.commands.page", "show sessions on a phone or tablet, and manage the paired devices"),
    "completion": ("assistant.commands.completion", "complete commands and options at the Tab key"),
    "suggest": ("assistant.commands.suggest", "rank the finger widths that suit a board and a blade, and say why"),
    "layout": ("assistant.commands.layout", "lay out both parts of a plan: every pass and carriage setting"),
    "fit": ("assistant.commands.fit", "predict whether a plan's joint goes together; suggest a clearance"),
    "draw": ("assistant.commands.draw", "draw both parts, the joint, 1:1 strips and a cut sheet: PDF, SVG, DXF"),
    "cut": ("assistant.commands.cut", "cut a plan hands-free, with voice and pedal"),
    "resume": ("assistant.commands.resume", "go back to an interrupted session"),
    "job": ("assistant.commands.job", "the boards of a session as a table: what is cut, what to cut again or instead"),
    "demo": ("assistant.commands.demo", "run a whole session with a synthetic operator; needs no hardware"),
    "journal": ("assistant.commands.journal", "list, show, export or repair the journal of sessions"),
    "hear": ("assistant.commands.hear", "show what the recogniser hears in a WAV file"),
}
GROUPS: dict[str, tuple[str, ...]] = {
    "Set up": ("init", "ready", "calibrate", "carriage", "phrases", "soundcheck", "models", "page", "completion"),
    "Plan": ("suggest", "layout", "fit", "draw"),
    "Cut": ("cut", "resume", "job", "demo"),
    "Look back": ("journal", "hear"),
}
"""The same commands, as `kerfcall --help` shows them."""
