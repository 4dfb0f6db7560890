"""The commands that answer without a score. Each declares its options; its body stands where it is imported from."""

from pathlib import Path

import click

from annotate import console
from annotate.console import LOOKED, UNPLAYABLE
from annotate.options import FILE, Number, Whole, desks_of, flute_options, format_option, searched, slide_option
from annotate.telling import language, print_answers, tell_written
from annotate.usage import command


@command()
@click.argument("pitches", nargs=-1, required=True, metavar="PITCH...")
@flute_options
@slide_option
@click.option("--tolerance", type=Number(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@click.option("--limit", type=Whole(1, 1000), default=10, show_default=True)
@format_option
def find(
    pitches: tuple[str, ...],
    flutes: tuple[str, ...],
    a4: float | None,
    slide: float,
    tolerance: float,
    limit: int,
    form: str,
) -> int:
    """Fingerings that sound PITCH... together: C5 D6; C5+50 is a quarter-tone up."""
    from annotate import questions

    pitches = tuple(pitch for text in pitches for pitch in text.split())
    questions.pitches_of(pitches)  # what is no pitch is told before anything is computed
    answers = [questions.find(one, pitches, tolerance, limit) for one in searched(desks_of(flutes, a4, slide))]
    print_answers(answers, form)
    return LOOKED if answers[0].found else UNPLAYABLE


@command()
@click.argument("fingering")
@flute_options
@slide_option
@format_option
def sounds(fingering: str, flutes: tuple[str, ...], a4: float | None, slide: float, form: str) -> int:
    """What FINGERING sounds, from the lowest resonance up: "T 2 3 | Eb"."""
    from annotate import questions

    print_answers([questions.sounds(one, fingering, slide) for one in desks_of(flutes, a4)], form)
    return LOOKED


@command()
@click.argument("fingering")
@click.option("-o", "--output", "output", type=FILE, required=True, metavar="OUT.wav")
@flute_options
@slide_option
@click.option("--seconds", type=Number(0.5, 60.0), default=6.0, show_default=True, metavar="S")
def listen(
    fingering: str, output: Path, flutes: tuple[str, ...], a4: float | None, slide: float, seconds: float
) -> int:
    """The sound that the model of the jet makes on FINGERING, as a WAV file; a sound made by a model, no recording."""
    from annotate import model_sound

    lines = model_sound.write(desks_of(flutes, a4), fingering, output, seconds, slide, language())
    console.echo("\n".join(lines))
    tell_written(output)
    return LOOKED


@command()
@click.argument("pattern", metavar="FINGERING|PATTERN")
@flute_options
@slide_option
@format_option
def shifts(pattern: str, flutes: tuple[str, ...], a4: float | None, slide: float, form: str) -> int:
    """Every place a multiphonic can be moved to: "T 2 3 | Eb", or "small 4" (one small opening, four places shut)."""
    from annotate import questions

    print_answers(questions.shifts(desks_of(flutes, a4, slide), pattern), form)
    return LOOKED


@command()
@click.argument("start", metavar="FROM")
@click.argument("end", metavar="TO")
@flute_options
@click.option("--tolerance", type=Number(1.0, 100.0), metavar="CENTS", default=30.0, show_default=True)
@format_option
def glide(start: str, end: str, flutes: tuple[str, ...], a4: float | None, tolerance: float, form: str) -> int:
    """Ways to slide without a jump: C5 B4, or "C5 D6" "B4 C#6" for a multiphonic."""
    from annotate import questions

    questions.pitches_of(start.split()), questions.pitches_of(end.split())
    answers = [questions.glide(one, start, end, tolerance) for one in searched(desks_of(flutes, a4))]
    print_answers(answers, form)
    return LOOKED if answers[0].ways else UNPLAYABLE
