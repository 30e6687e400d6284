"""Microphone or WAV -> utterance -> recogniser -> accepted or rejected -> phrase, in a supervised child process.

The way of a sound: capture (microphone, wav), cleaning (denoise, blend), segment (detect, endpoint, ear), score (neural
and scores in a process of their own, beside; sphinx), accept and leading, child and listener around it, models which
choose. What was tried, and where the limit lies. Figures come from tests/bench/hearing.py and its tuning half, unless
another source is named.

The recogniser that can doubt (leading.py): a small neural model gives the odds of each text that can be said, of its
rivals by rule, and of its own free continuation. On the tuning half of the natural voices:

- Three measures do the work. The fit (a phrase against the free continuation) is -5.2 or more for true phrases in
  quiet, -6.0 or less for sentences with one word changed. The odds of the end keep out longer sentences; with a comma
  counted as an end, 7 of 25 were taken ("all clamps are secure, except the left one"), without none. The margin over
  the rivals keeps out opposites in noise, where the fit of true phrases falls to theirs.
- The limit of the fit follows the noise (accept.LEAST_FIT): one limit for all took 8 of 22 one-word changes in quiet.
- The grammar's vote counts only where the model is sure of nothing (accept.SURE): that is so for formant voices and in
  noise, and not for a fluent sentence that is not the phrase. For that the grammar would vote: it knows nothing nearer.
- The lead-in word is given, not scored, and its least likely token is a limit of its own. Whether it was said alone
  shows in the odds of the end right after it, with nothing in between; then the pause after it is waited out.
- Short wordings are as good in quiet (27 of 27, no denial taken) and not in noise, so there they are not listened for
  (accept.SHORT_FROM_DB), and the usual ones stay those to learn. In quiet they cost the usual ones nothing, since a
  sentence that goes on after a short wording is taken for the longer one of the same meaning (scores.py).
- A number of several digits is written in many ways ("352. Number 352", "three-one-eight"), so all of them are looked
  for (scores.RUNS): of 64 figures up to 999 in four synthetic voices 49 are heard and none as another. As words alone
  the likeliest text was often only the number's first digit.
- All this costs 0.08 s of CPU a second of speech, half of what the grammar cost with a loop of phones beside it.

Where the model is missing or lost, pocketsphinx decides alone. What follows is about that path.

What helped:

- RNNoise: at 10 dB it doubles the phrases heard without noise suppression.
- Removing only as much noise as there is (hearing/blend.py): 94 -> 98 % of the tuning half in quiet, 90 -> 96 % with
  echo. Any fixed share of the original sound costs hits in noise.
- One limit on how well the words fit the sounds (accept.SPHINX_BARS), in place of everything that compared the words
  with a free loop of phones: as many hits, half the time, and a third of the code.
- A longer phrase for standing by: 13 of 546 pieces of human speech were taken for "standing by", none for "standing by
  for now".
- Naming a pass twice: wrong numbers 4 of 816 -> 2 of 840, at about the same hits.
- Scores that can be compared (compallsen), a noise floor under each piece, and beams no wider than needed (-10 % time).

Rivals by rule (wording/rivals.py, only for what is open) keep out what they foresee: of 90 opposites and questions 71
were accepted without any, 8 with them, at the same 76 of 84 hits. Decoding takes 1.13 times as long while a check is
open, 1.18 times while a pass is called, and twice as long with everything open at once, as in the bench. No rival
differs in one sound only ("finish no session", "mark up a problem"), since those take true phrases. A sentence that no
rule makes is still accepted ("edge and face are both mixed up"), and now and then so is a short "no" in place of an
"all". Decoys by hand beside the rules changed nothing.

A thousand numbers: as phrases of the grammar they take nine times as long as ten. Heard as any digits first, and then
as one of the few numbers that those can be (numbers.py), they take as long as ten, and 20 of 28 are heard.

What did not help: writing the common beginnings of rivals once in the grammar (no time saved), weights on rivals (no
effect up to ten to one), decoy words beside the phrases (a third of the hits lost), the decoder's own noise removal,
n-best lists, rivals by phone distance, "tree" and "fower", every second frame or fewer densities (2 of 58 hits for a
fifth of the time).

The limit: numbers, above all those of the formant voices, since the model was not trained on their "six", "seven" and
"nine". A pass to go to is therefore always read back. After the lead-in word, a sentence that differs from a phrase in
one word is mostly taken for the phrase ("finish the lesson"). A grammar with the 600 commonest words in place of each
word refused a third of the others and none of the rhymes, for 1 % of the hits and 0.08 s of work per second of sound.
It is not used.
"""
