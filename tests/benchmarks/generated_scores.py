"""Two hundred invented scores whose truth is known by construction: who plays each chord of a flute part.

Ensembles of all usual sizes, names of parts in five languages, writing as in the nineteenth century and as today; one seed.
The truth is set before a note is written, and no rule of the reader is asked. What is written is what copyists and composers
write: parallel passages of two players with and without words, leftovers of editing, double stems, extracted parts;
multiphonics with a word, with a word before, or bare in music that is full of techniques or of chords.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass, field

SEED = 20261126
SCORES = 200
WORDED, HELD, BARE, PLAYERS = "with a word", "after a word", "bare", "several players"
TREMOLO, TIMBRAL = "tremolo of two", "timbral trill"

_LANGUAGES = ("en", "de", "fr", "it", "es")
_FLUTE = {"en": "Flute", "de": "Flöte", "fr": "Flûte", "it": "Flauto", "es": "Flauta"}
_FLUTES = {"en": "Flutes", "de": "Flöten", "fr": "Flûtes", "it": "Flauti", "es": "Flautas"}
_OTHERS = {
    "en": ["Oboe", "Clarinet in B-flat", "Bassoon", "Horn in F", "Trumpet in C", "Trombone", "Timpani", "Violin I",
           "Violin II", "Viola", "Cello", "Double bass", "Harp", "Tuba", "Percussion 1", "Percussion 2"],
    "de": ["Oboe", "Klarinette in B", "Fagott", "Horn in F", "Trompete in C", "Posaune", "Pauken", "Violine I",
           "Violine II", "Viola", "Violoncello", "Kontrabass", "Harfe", "Tuba", "Kleine Trommel", "Große Trommel"],
    "fr": ["Hautbois", "Clarinette en si bémol", "Basson", "Cor en fa", "Trompette en ut", "Trombone", "Timbales",
           "Violon I", "Violon II", "Alto", "Violoncelle", "Contrebasse", "Harpe", "Tuba", "Caisse claire", "Grosse caisse"],
    "it": ["Oboe", "Clarinetto in si bemolle", "Fagotto", "Corno in fa", "Tromba in do", "Trombone", "Timpani", "Violino I",
           "Violino II", "Viola", "Violoncello", "Contrabbasso", "Arpa", "Tuba", "Tamburo piccolo", "Gran cassa"],
    "es": ["Oboe", "Clarinete en si bemol", "Fagot", "Trompa en fa", "Trompeta en do", "Trombón", "Timbales", "Violín I",
           "Violín II", "Viola", "Violonchelo", "Contrabajo", "Arpa", "Tuba", "Caja", "Bombo"],
}  # fmt: skip
_MULT = {
    "en": ["mult.", "multiphonic", "multiph."],
    "de": ["Mehrklang", "mult.", "Multiphonics"],
    "fr": ["son multiple", "multiphonique"],
    "it": ["multifonico", "suono multiplo", "bicordo"],
    "es": ["multif.", "mult."],
}
_BISBIGLIANDO = {
    "en": ["timbral trill", "bisb."],
    "de": ["Klangfarbentriller", "bisb."],
    "fr": ["trille de timbre", "bisb."],
    "it": ["bisbigliando", "trillo di timbro"],
    "es": ["bisb."],
}
_TECHNIQUES = {
    "en": ["whistle tone", "key clicks", "air sound", "tongue ram", "jet whistle", "timbral trill"],
    "de": ["Luftgeräusch", "Klappengeräusch", "Flüsterton", "Klangfarbentriller"],
    "fr": ["souffle", "bruits de clés", "sons sifflés", "trille de timbre"],
    "it": ["soffio", "colpi di chiave", "suoni fischiati", "bisbigliando"],
    "es": ["whistle tone", "key clicks", "jet whistle", "bisb."],
}
_EXPRESSION = {
    "en": ["cantabile", "espressivo", "sweetly"],
    "de": ["Stimme hervor", "singend", "ausdrucksvoll"],
    "fr": ["doux et chanté", "en dehors", "chantant"],
    "it": ["molto cantato", "dolce", "sotto voce"],
    "es": ["cantado", "dulce", "con voz suave"],
}
_TWO = {"en": "a 2", "de": "zu 2", "fr": "à 2", "it": "a 2", "es": "a 2"}
_SIZES = (1, 2, 3, 4, 5, 8, 14, 18, 24, 30, 36)
_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


@dataclass
class Generated:
    """A score. truth: by (part id, bar, beat) who plays the chord there, or how the multiphonic is written; today: written as
    composers write today; kind: what sort of writing."""

    name: str
    kind: str
    today: bool
    data: bytes
    truth: dict[tuple[str, str, float], str] = field(default_factory=dict)


def _pitch(midi: int) -> str:
    name, octave = _NAMES[midi % 12], midi // 12 - 1
    alter = "<alter>1</alter>" if "#" in name else ""
    return f"<pitch><step>{name[0]}</step>{alter}<octave>{octave}</octave></pitch>"


def _note(pitches: list[int], eighths: int, voice: int = 1, grace: bool = False, ornament: str = "") -> str:
    length = "<grace/>" if grace else ""
    lasting = "" if grace else f"<duration>{eighths}</duration>"
    kind = {8: "whole", 4: "half", 2: "quarter", 1: "eighth"}[eighths]
    sign = f"<notations><ornaments>{ornament}</ornaments></notations>" if ornament else ""
    return "".join(
        f"<note>{length}{'<chord/>' if index else ''}{_pitch(pitch)}{lasting}<voice>{voice}</voice><type>{kind}</type>"
        f"{'' if index else sign}</note>"
        for index, pitch in enumerate(pitches)
    )


def _words(text: str) -> str:
    return f'<direction placement="above"><direction-type><words>{text}</words></direction-type></direction>'


class _Part:
    """A flute part while it is written, bar by bar."""

    def __init__(self, id: str, name: str, chance: random.Random, truth: dict[tuple[str, str, float], str]) -> None:
        self.id, self.name, self.chance = id, name, chance
        self.bars: list[str] = []
        self._truth = truth
        self._line = chance.randint(72, 84)

    def chord(self, pitches: list[int], eighths: int, beat: float, is_: str, **more: bool) -> str:
        """A chord in the bar that comes next. is_: the truth of it."""
        self._truth[self.id, str(len(self.bars) + 1), beat] = is_
        return _note(pitches, eighths, **more)

    def tune(self, bars: int, expression: str = "") -> None:
        """Single notes, up and down by step."""
        for _ in range(bars):
            said, expression = (_words(expression) if expression else ""), ""
            lengths = self.chance.choice([[2, 2, 2, 2], [4, 2, 2], [2, 1, 1, 2, 2], [1] * 8, [4, 4]])
            self.bars.append(said + "".join(_note([self._step()], length) for length in lengths))

    def rest(self, bars: int) -> None:
        self.bars += ["<note><rest/><duration>8</duration><voice>1</voice></note>"] * bars

    def _step(self) -> int:
        self._line = min(91, max(62, self._line + self.chance.choice([-4, -2, -2, -1, 1, 2, 2, 3])))
        return self._line

    def thirds(self, bars: int, word: str = "") -> None:
        """Two players in parallel."""
        for _ in range(bars):
            length = self.chance.choice([1, 2, 4])
            text, word = (_words(word) if word else ""), ""
            for number in range(8 // length):
                low = self._step()
                upper = low + self.chance.choice([3, 4, 4, 8, 9, 12])
                text += self.chord([low, upper], length, 1 + number * length / 2, PLAYERS)
            self.bars.append(text)

    def leftover(self, pitches: list[int], grace: bool = False) -> None:
        """A second note that nobody took away."""
        if grace:
            self.bars.append(self.chord(pitches, 1, 1.0, PLAYERS, grace=True) + _note([pitches[0]], 8))
        else:
            self.bars.append(self.chord(pitches, 8, 1.0, PLAYERS))

    def multiphonics(self, count: int, word: str) -> None:
        """Chords of one flute, two in a bar; word: at the first of them, '' for none."""
        for number in range(0, count, 2):
            text = ""
            for place in range(min(2, count - number)):
                low = self.chance.randint(71, 80)
                pitches = [low, low + self.chance.choice([6, 7, 8, 9, 10, 11, 13, 14, 14, 15, 16])]
                first = not number and not place
                is_ = (WORDED if first else HELD) if word else BARE
                text += (_words(word) if word and first else "") + self.chord(pitches, 4, 1.0 + 2 * place, is_)
            self.bars.append(text if count - number > 1 else text + _note([self._step()], 4))

    def two_stems(self) -> None:
        """Two voices, in unison and apart: two players on one staff."""
        upper, lower = self._step(), self._line - 5
        back = "<backup><duration>8</duration></backup>"
        self.bars.append(_note([upper], 8) + back + _note([upper], 8, voice=2))
        self._truth[self.id, str(len(self.bars) + 1), 1.0] = PLAYERS
        self.bars.append(_note([upper], 4) + _note([upper + 2], 4) + back + _note([lower], 4, 2) + _note([lower - 2], 2, 2)
                         + _note([lower], 2, 2))  # fmt: skip

    def tremolo(self, pairs: list[list[int]], is_: str, word: str = "") -> None:
        """To and fro between two chords or notes."""
        signs = [f'<tremolo type="{role}">3</tremolo>' for role in ("start", "stop")]
        self._truth[self.id, str(len(self.bars) + 1), 1.0] = is_
        if is_ == PLAYERS:
            self._truth[self.id, str(len(self.bars) + 1), 3.0] = is_
        notes = (_note(pair, 4, ornament=sign) for pair, sign in zip(pairs, signs, strict=True))
        self.bars.append((_words(word) if word else "") + "".join(notes))

    def timbral(self, word: str) -> None:
        """One note with two fingerings."""
        self._truth[self.id, str(len(self.bars) + 1), 1.0] = TIMBRAL
        self.bars.append(_words(word) + _note([self._step()], 8))


def _to_and_fro(part: _Part, language: str, today: bool, plural: bool, chance: random.Random) -> None:
    """Tremolos and trills at the end of a part: of two multiphonics and of one note today, of two players and of single notes
    always. Chances of their own, so that all else stays as it is."""
    part.rest(1)
    low = chance.randint(71, 78)
    if today:
        pairs = [[low, low + chance.choice([8, 9, 13, 14])], [low - 1, low + chance.choice([7, 10, 11])]]
        part.tremolo(pairs, TREMOLO, chance.choice(_MULT[language]))
        part.tune(1, "ord.")
        part.timbral(chance.choice(_BISBIGLIANDO[language]))
        part.tune(1, "ord.")
    elif plural:
        part.tremolo([[low, low + 4], [low - 2, low + 2]], PLAYERS, _TWO[language])
    part.bars.append(_note([low], 4, ornament="<trill-mark/>") + _note([low + 2], 4))
    part.bars.append("".join(_note([low + up], 4, ornament=f'<tremolo type="{role}">3</tremolo>')
                             for up, role in ((0, "start"), (3, "stop"))))  # fmt: skip


def _romantic(part: _Part, language: str, size: int, plural: bool) -> None:
    """As in the nineteenth century: whatever chord there is has two players, or is a leftover."""
    chance = part.chance
    part.tune(chance.randint(6, 12), chance.choice(["", *_EXPRESSION[language]]))
    if plural or (size >= 14 and chance.random() < 0.4):
        word = chance.choice(["", _TWO[language], "div."]) if plural or chance.random() < 0.7 else ""
        part.thirds(chance.randint(2, 5), word)
        part.rest(chance.randint(1, 4))
        if chance.random() < 0.4:
            part.two_stems()
    elif chance.random() < 0.7:
        low = part.chance.randint(69, 79)
        part.leftover([low, low + chance.choice([3, 4, 5, 7, 8, 9, 12])], grace=chance.random() < 0.3)
    part.tune(chance.randint(6, 16))


def _modern(part: _Part, language: str, size: int, plural: bool) -> str:
    """As composers write today. Returns the kind."""
    chance = part.chance
    part.tune(chance.randint(2, 5))
    kind = chance.choice(["words", "words", "techniques", "habit" if size < 8 else "words"])
    if kind == "words" or plural:
        for _ in range(chance.randint(1, 4)):
            part.multiphonics(chance.randint(1, 4), chance.choice(_MULT[language]))
            part.tune(1)
        if plural:
            part.thirds(1, _TWO[language])
        kind = "words"
    elif kind == "techniques":
        word = chance.choice(_TECHNIQUES[language])
        if word in _BISBIGLIANDO[language]:
            part.timbral(word)
        else:
            part.bars.append(_words(word) + _note([part._step()], 8))
        part.tune(1, "ord.")
        part.multiphonics(chance.randint(1, 4), "")
    else:
        for _ in range(chance.randint(2, 4)):
            part.multiphonics(chance.randint(1, 3), "")
            part.tune(chance.randint(1, 3))
    part.tune(chance.randint(2, 6))
    return kind


def _name(language: str, form: str) -> str:
    return {
        "plain": _FLUTE[language],
        "first": f"{_FLUTE[language]} 1",
        "plural": _FLUTES[language],
        "two": f"{_FLUTE[language]} 1, 2",
        "roman": f"{_FLUTES[language]} I.II",
    }[form]


def _xml(parts: list[tuple[str, str, list[str]]]) -> bytes:
    text = '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list>'
    text += "".join(f'<score-part id="{id}"><part-name>{name}</part-name></score-part>' for id, name, _ in parts)
    text += "</part-list>\n"
    length = max(len(bars) for _, _, bars in parts)
    silent = "<note><rest/><duration>8</duration><voice>1</voice></note>"
    head = "<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
    for id, _, bars in parts:
        filled = [*bars, *[silent] * (length - len(bars))]
        measures = (
            f'<measure number="{n}">{"" if n > 1 else head}{bar}</measure>\n' for n, bar in enumerate(filled, 1)
        )
        text += f'<part id="{id}">' + "".join(measures) + "</part>\n"
    return (text + "</score-partwise>\n").encode()


def generated(seed: int = SEED, count: int = SCORES) -> Iterator[Generated]:
    """The scores, always the same for a seed."""
    for number in range(count):
        chance = random.Random(f"{seed}/{number}")
        language = _LANGUAGES[number % len(_LANGUAGES)]
        size = _SIZES[number % len(_SIZES)]
        today = number % 2 == 1
        forms = ["plain", "first"] if size < 14 else ["plain", "first", "plural", "two", "roman"]
        form = chance.choice(forms)
        plural = form in ("plural", "two", "roman")
        score = Generated(f"{number:03d}", "", today, b"")
        part = _Part("P1", _name(language, form), chance, score.truth)
        if today:
            score.kind = "today, " + _modern(part, language, size, plural)
        else:
            _romantic(part, language, size, plural)
            score.kind = "nineteenth century"
        _to_and_fro(part, language, today, plural, random.Random(f"{seed}/{number}/to and fro"))
        parts = [("P1", part.name, part.bars)]
        if form == "first" and size > 1:
            second = _Part("P2", part.name.replace("1", "2"), chance, score.truth)
            second.tune(len(part.bars))
            parts.append(("P2", second.name, second.bars))
        others = [name for _ in range(3) for name in _OTHERS[language]]
        parts += [(f"P{n}", others[n - 3], []) for n in range(3, 3 + max(0, size - len(parts)))]
        score.data = _xml(parts)
        yield score
