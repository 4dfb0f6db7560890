"""A large invented score for timing: 30 parts, 48,000 notes, one part a flute with some chords."""

PARTS, BARS, NOTES_A_BAR = 30, 200, 8


def big_score() -> str:
    """MusicXML text of the score."""
    names = ["Flute", *(f"Violin {number}" for number in range(1, PARTS))]
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{name}</part-name></score-part>\n' for n, name in enumerate(names, start=1)
    )
    body = "".join(f'<part id="P{n}">\n{_bars(n)}</part>\n' for n in range(1, PARTS + 1))
    head = '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">\n'
    return f"{head}<part-list>\n{listed}</part-list>\n{body}</score-partwise>\n"


def _bars(part: int) -> str:
    bars = []
    for bar in range(1, BARS + 1):
        start = (
            "<attributes><divisions>2</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
            "<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>\n"
            if bar == 1
            else ""
        )
        chord = part == 1 and bar % 20 == 0
        notes = [_note("CDEFGAB"[(bar + n) % 7], 5) for n in range(NOTES_A_BAR)]
        if chord:
            mult = "<direction><direction-type><words>mult.</words></direction-type></direction>\n"
            notes[0:2] = [mult + _note("C", 5), _note("D", 6, chord=True)]
        bars.append(f'<measure number="{bar}">\n{start}{"".join(notes)}</measure>\n')
    return "".join(bars)


def _note(step: str, octave: int, chord: bool = False) -> str:
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{step}</step><octave>{octave}</octave></pitch>"
        "<duration>1</duration><voice>1</voice><type>eighth</type></note>\n"
    )
