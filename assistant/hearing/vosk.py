"""The recogniser vosk, used when there is a model folder.

Several small mistakes make its native code end the process. So everything is checked before a call, and only the
hearing child ever calls it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from assistant.errors import BadInput, Fault, NoSuchPart
from assistant.hearing import accept
from assistant.hearing.contract import CLEAR_DB, RATE, Recogniser, Result, by_text, refuse_unknown
from assistant.hearing.model_files import model_faults
from assistant.wording.phrases import Phrase

UNKNOWN = "[unk]"  # in a grammar, stands for any other word; not every model knows it
CHUNK = 3200  # bytes: 0.1 s


class Vosk(Recogniser):
    """The recogniser `vosk`. Owned by one thread: two threads in one native recogniser end the process.

    model: its folder. Raises BadInput naming everything wrong with it, NoSuchPart when the library is missing.
    """

    name = "vosk"

    def __init__(self, model: str, bars: tuple[accept.Bar, accept.Bar] | None = None, all_strict: bool = False) -> None:
        faults = model_faults(Path(model))
        if faults:
            mend = "unpack the model again"
            raise BadInput([Fault(f"{fault.file} {fault.what}", "", f"vosk model {model}", mend) for fault in faults])
        try:
            import vosk
        except ImportError as error:
            raise NoSuchPart("the recogniser vosk is not installed; pip install vosk") from error
        # Its log would be written over the screen. What it would warn of is checked before each call.
        vosk.SetLogLevel(-1)
        try:
            # Always with a path, as text: without one the library looks for a model on the network.
            self._model: Any = vosk.Model(str(model))
        except Exception as error:  # the library raises nothing narrower
            raise BadInput(
                [Fault("vosk can't load it", "", f"vosk model {model}", "unpack the model again")]
            ) from error
        self._make = vosk.KaldiRecognizer
        self._known: dict[str, bool] = {}
        self.rejects_unknown = self._knows(UNKNOWN)
        self._bars, self._all_strict = bars or accept.VOSK_BARS, all_strict

    def _knows(self, word: str) -> bool:
        if word not in self._known:
            # The library would drop a word that it lacks from its phrase, with only a warning.
            self._known[word] = bool(word) and self._model.vosk_model_find_word(word) >= 0
        return self._known[word]

    def unknown_words(self, words: Sequence[str]) -> list[str]:
        """Those of the words that the model's vocabulary lacks. It has lower-case words only."""
        return [word for word in words if not self._knows(word)]

    def decode(self, pcm16k: bytes, phrases: Sequence[Phrase], clear_db: float = CLEAR_DB) -> Result:
        """See `contract.Recogniser.decode`."""
        if not phrases:
            return Result(None, "nothing is being listened for")
        if len(pcm16k) < accept.FRAME * 2 * 10:
            return Result(None, "too short to be a phrase")
        refuse_unknown(self, phrases)
        table = by_text(phrases)
        words = self._words(pcm16k, self._grammar(table))
        heard = " ".join(word.name for word in words)
        if heard not in table:
            return Result(None, "no phrase that means something now", heard)
        phrase = table[heard]
        measures = accept.measure(pcm16k, words)
        bar = accept.bar_for(phrase, self._bars, self._all_strict)
        reason = accept.judge(measures, bar)
        like = phrase.text if reason and accept.nearly(measures, bar) else ""
        return Result(None if reason else phrase, reason, heard, measures, like)

    def _grammar(self, table: dict[str, Phrase]) -> str:
        # An empty list, or anything but a list of texts, ends the process.
        return json.dumps([*table, UNKNOWN] if self.rejects_unknown else list(table), ensure_ascii=False)

    def _words(self, pcm16k: bytes, grammar: str) -> list[accept.DecodedWord]:
        """Every word of the whole utterance, even if the library's own end-pointing splits it."""
        # A new native recogniser for each utterance: changing the grammar of one in use ends the process.
        recogniser = self._make(self._model, RATE, grammar)
        recogniser.SetWords(True)
        results = []
        for start in range(0, len(pcm16k), CHUNK):
            if recogniser.AcceptWaveform(bytes(pcm16k[start : start + CHUNK])):
                results.append(recogniser.Result())
        results.append(recogniser.FinalResult())
        return [
            # The library's own confidence is not used: it is 1.0 for plainly wrong words too.
            accept.DecodedWord(word["word"], round(word["start"] * 100), round(word["end"] * 100) - 1, 0.0)
            for result in results
            for word in json.loads(result).get("result", ())
        ]
