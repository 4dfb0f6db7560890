"""A small score whose texts try to be markup."""

from __future__ import annotations

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(2)> & \"'"
LIKE_OURS = 'Times "white" #x path'
"""What stands in the files too, where it is changed."""
_ESCAPED = HOSTILE.replace("&", "&amp;").replace("<", "&lt;")


def _note(pitch: str, more: str = "", chord: bool = False, alter: str = "") -> str:
    step, octave = pitch
    told = f"<alter>{alter}</alter>" if alter else ""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{step}</step>{told}<octave>{octave}</octave></pitch>"
        f"<duration>2</duration><type>half</type>{more}</note>"
    )


def _words(text: str) -> str:
    return f"<direction placement='above'><direction-type><words>{text}</words></direction-type></direction>"


SCORE = f"""<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><work><work-title>{_ESCAPED}</work-title></work>
<identification><creator type="composer">{_ESCAPED}</creator></identification>
<part-list><score-part id="P1"><part-name>Flute {_ESCAPED}</part-name></score-part></part-list>
<part id="P1">
<measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>
<clef><sign>G</sign><line>2</line></clef></attributes>
<direction placement="above"><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>
</direction-type><sound tempo="60"/></direction>
{_words("mult. " + _ESCAPED)}{_note("C5")}{_note("D6", chord=True)}{_note("B4")}{_note("C6", chord=True, alter="1")}</measure>
<measure number="2">{_words(LIKE_OURS)}{_words("ord.")}
{_note("C5", "<accidental>quarter-sharp</accidental>", alter="0.5")}{_note("A4")}</measure>
<measure number="3">{_words("mult.")}{_note("C4")}{_note("C4", chord=True, alter="1")}<note><rest/><duration>2</duration></note>
</measure></part></score-partwise>
"""
