"""How often an answer that is ten cents closer, as sure to sound and at most one finger more, ranks below the one chosen.

`python tests/references/ranking_evidence.py` (project root on the path). 72 dyads: each note from C5 to B5 with a partner
above it at six distances; tolerance 60 cents as `check` searches."""

from fingering_db.instrument import load
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.ranking import find

LOWER = range(72, 84)
SEMITONES = (3, 5, 8, 10, 13, 14)
CLOSER_CENTS, LIKE, ONE_FINGER = 10.0, 0.05, 1.0


def main() -> None:
    flute = model(load("open-hole-b"))
    answered, passed_over, at_any_cost, off, examples = 0, 0, 0, [], []
    for low in LOWER:
        for more in SEMITONES:
            pitches = (Pitch.from_midi(float(low)), Pitch.from_midi(float(low + more)))
            best = find(flute, pitches, 60.0).best
            if not best:
                continue
            answered += 1
            first = best[0]
            off.append(first.worst_cents)
            closer = [
                one
                for one in best[1:]
                if one.worst_cents <= first.worst_cents - CLOSER_CENTS and one.confidence >= first.confidence - LIKE
            ]
            at_any_cost += bool(closer)
            better = [one for one in closer if one.effort <= first.effort + ONE_FINGER]
            passed_over += bool(better)
            if better:
                examples.append(f"{'+'.join(map(str, pitches))}: {first.fingering} before {better[0].fingering}")
    print(f"{answered} dyads with an answer; in {at_any_cost} one that is {CLOSER_CENTS:.0f} cents closer ranks below,")
    print(f"in {passed_over} of them with at most one finger more")
    print(f"largest deviation of the best answer: mean {sum(off) / len(off):.1f} cents")
    print(*examples[:8], sep="\n")


if __name__ == "__main__":
    main()
