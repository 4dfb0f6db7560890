"""The way of the hands through a whole part (invented passages)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product

import msgspec
import numpy as np
import pytest
from music21 import note as music21_note
from music21 import repeat, stream

from annotate.choosing.desk import Desk
from annotate.choosing.hands import Join, Line
from annotate.choosing.holds import Hold, Option
from annotate.choosing.joint import seconds_to_draw
from annotate.choosing.motions import note_out_remarks, step_remarks
from annotate.choosing.network import cheapest
from annotate.choosing.passage import picks, plan, planned
from annotate.choosing.slides import glide_status, is_a_jump, ways
from annotate.decision import Decision, Status
from annotate.demand import Demand, Kind
from annotate.place import Place
from annotate.reading.read import read_score
from annotate.reading.repeats import (
    BACKWARD,
    CODA,
    DA_CAPO,
    DAL_SEGNO,
    ENDING,
    ENDING_STOPS,
    FINE,
    FORWARD,
    SEGNO,
    TO_CODA,
    RepeatSign,
    order_played,
)
from annotate.score import Event, Note, Ornament, Part
from annotate.weights import NAMES, WEIGHTS, changed
from fingering_db.alternatives import holes_held, trills_of, ways_of
from fingering_db.fingering import Fingering
from fingering_db.glide import HALF_HOLE
from fingering_db.instrument import load
from fingering_db.mechanism import choices, hole_states
from fingering_db.message import Message
from fingering_db.model import model
from fingering_db.pitch import Pitch
from fingering_db.ranking import sounds


@pytest.fixture(scope="module")
def desk():
    return Desk("open-hole-b", model(load("open-hole-b")), 440.0)


def part_of(names, tempo=144.0, quarters=0.5, **more):
    """Eighths: `A#4`, `-` for a rest; a number after `*` is a bar of its own."""
    events, onset = [], Fraction(0)
    length = Fraction(quarters)
    for number, name in enumerate(names.split()):
        at = float(onset) * 60.0 / tempo
        if name != "-":
            pitch = Pitch.parse(name)
            note = Note(100 * number + 1, 100 * number + 50, pitch, pitch)
            end = at + quarters * 60.0 / tempo
            events.append(Event((note,), "1", 0, Fraction(1), onset, length, at, end, "1", 1))
        onset += length
    return Part("P1", 1, "Flute", "", events=tuple(events), **more)


def fingerings(part, desk, weights=WEIGHTS):
    (one,) = planned(part, (), lambda _: desk, weights=weights)
    return [str(one.option(n).start) for n in range(len(one.numbers))]


def random_network(rng):
    places = int(rng.integers(1, 7))
    sizes = rng.integers(1, 5, places)
    own = [rng.random(size) for size in sizes]
    pairs = {(n, n + 1) for n in range(places - 1) if rng.random() < 0.8}
    for _ in range(int(rng.integers(0, 3)) if places > 1 else 0):  # back in a repeat, past an ending
        one, two = map(int, rng.choice(places, 2, replace=False))
        if (two, one) not in pairs:
            pairs.add((one, two))
    return own, {pair: rng.random((sizes[pair[0]], sizes[pair[1]])) for pair in pairs}


@pytest.mark.parametrize("seed", range(10))
def test_the_cheapest_ways_are_those_of_trying_every_way_on_20_random_passages_each(seed):
    rng = np.random.default_rng(seed)
    for _ in range(20):
        own, joined = random_network(rng)

        def cost(way, own=own, joined=joined):
            held = sum(costs[number] for costs, number in zip(own, way, strict=True))
            return held + sum(each[way[a], way[b]] for (a, b), each in joined.items())

        every = sorted(cost(way) for way in product(*(range(len(costs)) for costs in own)))
        found = cheapest(own, joined, 4)
        assert [way.cost for way in found] == pytest.approx(every[:4], abs=1e-12)
        assert [cost(way.numbers) for way in found] == pytest.approx(every[:4], abs=1e-12)
        assert len({way.numbers for way in found}) == len(found)


def test_the_plan_of_a_line_is_that_of_trying_every_way(desk):
    texts = ["T 2 3 |", "T 2 3 | 1", "T 1 2 | 3 Eb", "| Eb", "T 1 2 3 | 1 2 3 B", "T 1 2 3 | 1 2 3 C#"]
    options = [Option(Fingering.parse(text), Fingering.parse(text), 3.0 * n) for n, text in enumerate(texts)]
    event = part_of("A4").events[0]
    rows = [options[:3], options[2:6], options[1:4], options[3:], options[:2]]
    holds = tuple(Hold(event, event, desk, tuple(row), None) for row in rows)
    joins = tuple(Join(n, n + 1, seconds) for n, seconds in enumerate((0.1, 0.02, 2.0, 0.3)))
    line = Line(holds, (*joins, Join(3, 1, 0.2)))
    found = plan(line)
    every = []
    for way in product(*(range(len(row)) for row in rows)):
        one_each = Line(tuple(only(hold, number) for hold, number in zip(holds, way, strict=True)), line.joins)
        every.append((plan(one_each).cost, way))
    assert (found.cost, found.numbers) == (pytest.approx(min(every)[0]), min(every)[1])
    assert found.cost < found.alone


def test_what_cannot_be_held_between_two_notes_that_a_repeat_joins_is_left_out(desk):
    texts = ["T 2 3 |", "T 2 3 | 1", "T 1 2 | 3 Eb"]
    options = tuple(Option(Fingering.parse(text), Fingering.parse(text), 3.0 - n) for n, text in enumerate(texts))
    event = part_of("A4").events[0]
    one, two, none = (Hold(event, event, desk, row, None) for row in (options[:2], options[1:], ()))
    found = plan(Line((one, none, two), (Join(2, 0, 0.1),)))
    without = plan(Line((one, two), (Join(1, 0, 0.1),)))
    assert found.numbers == (without.numbers[0], -1, without.numbers[1])
    assert found.others == (without.others[0], (), without.others[1])
    assert found.cost == without.cost


@pytest.mark.parametrize(("before", "key"), [("T 1 |", "choice.for_the_passage"), ("T 1 3 |", "choice.for_the_hand")])
def test_the_hand_is_the_reason_only_where_it_moves_fewer_fingers(desk, before, key):
    part = part_of("A4 A4")
    best, other, first = (
        Option(Fingering.parse(text), Fingering.parse(text), cost)
        for text, cost in (("T 1 2 |", 9.0), ("T 1 3 |", 0.0), (before, 0.0))
    )
    one, two = part.events
    demand = Demand("1", Kind.MULTIPHONIC, part.place(two), (two,), (), ())
    decision = Decision(demand, desk.name, Status.PLAYABLE, Message("choice.within", worst=1.0, tolerance=30.0))
    holds = Hold(one, one, desk, (first,), None), Hold(two, two, desk, (best, other), decision)
    (pick,) = picks([plan(Line(holds, (Join(0, 1, 0.3),)))]).values()
    assert (str(pick.fingering), pick.why.key) == ("T 1 3 |", key)
    assert dict(pick.why.values)["fingering"] == "T 1 2 |"


def only(hold, number):
    return Hold(hold.first, hold.last, hold.desk, (hold.options[number],), None)


def test_a_sharp_a_a_sharp_at_144_keeps_one_a_sharp(desk):
    first, _, last = fingerings(part_of("A#4 A4 A#4"), desk)
    assert first == last
    first, _, last = fingerings(part_of("A#5 A5 A#5", quarters=0.25), desk)
    assert first == last


def test_another_a_sharp_is_taken_after_b_natural_than_after_a_note_of_the_right_hand(desk):
    after_b = fingerings(part_of("B4 A#4 B4"), desk)[1]
    after_f = fingerings(part_of("F5 A#5 F5"), desk)[1]
    assert (after_b, after_f) == ("T 1 | Bb Eb", "T 1 | 1 Eb")


def test_in_a_passage_without_b_or_c_the_thumb_stays_on_its_b_flat_key(desk):
    held = fingerings(part_of("A#4 A4 G4 A4 A#4 G4 F4 A#4", quarters=0.25), desk)
    assert all(one.startswith("Tb ") for one in held), held
    assert "Tb" not in " ".join(fingerings(part_of("A#4 B4 C5 B4 A#4", quarters=0.25), desk))


def test_the_plan_is_cheaper_than_choosing_each_note_alone(desk):
    (one,) = planned(part_of("B4 A#4 B4 A4 A#4 C5 F#5 E5 F#5 G5"), (), lambda _: desk)
    assert one.cost < one.alone


def test_a_rest_long_enough_resets_the_hand_and_a_short_one_does_not(desk):
    joined = {
        name: [len(one.line.joins) for one in planned(part_of(name, tempo=60), (), lambda _: desk)]
        for name in ("A4 - - A4", f"A4 {'- ' * 21}A4")
    }
    assert list(joined.values()) == [[1], [0]]


def test_a_lever_out_of_reach_changes_the_plan(desk):
    own = load("open-hole-b")
    without = [
        msgspec.structs.replace(one, placements=tuple(each for each in one.placements if each.touch != "Bb"))
        for one in own.fingers
    ]
    stiff = Desk("stiff", model(msgspec.structs.replace(own, name="stiff", fingers=tuple(without))), 440.0)
    passage = part_of("B4 A#4 B4")
    assert fingerings(passage, desk)[1] == "T 1 | Bb Eb"
    assert "Bb" not in fingerings(passage, stiff)[1]


def test_a_flute_without_b_foot_has_no_fingering_for_low_b_and_the_rest_is_planned(desk):
    short = Desk("open-hole-c", model(load("open-hole-c")), 440.0)
    (one,) = planned(part_of("C4 B3 C4"), (), lambda _: short)
    assert [bool(hold.options) for hold in one.line.holds] == [True, False, True]
    assert one.option(0) and one.option(2) and one.option(1) is None


def test_a_player_changes_a_weight_and_the_plan_follows(desk):
    passage = part_of("F5 A#5 F5")
    assert fingerings(passage, desk)[1] == "T 1 | 1 Eb"
    assert fingerings(passage, desk, changed({"moving": 0.0, "alternative": 30.0}))[1] != "T 1 | 1 Eb"
    assert changed({"moving": -1.0, "nothing": 3.0}) == WEIGHTS
    assert "moving" in NAMES


@pytest.mark.parametrize(
    ("signs", "order"),
    [
        ([(1, FORWARD), (2, BACKWARD)], (0, 1, 2, 1, 2, 3)),
        ([(1, BACKWARD), (3, BACKWARD, 3)], (0, 1, 0, 1, 2, 3, 2, 3, 2, 3)),
        ([(1, ENDING, 2, {1}), (1, BACKWARD), (1, ENDING_STOPS), (2, ENDING, 2, {2})], (0, 1, 0, 2, 3)),
        (
            [(1, ENDING, 2, {1, 2}), (1, BACKWARD), (1, ENDING_STOPS), (2, ENDING, 2, {3}), (2, ENDING_STOPS)],
            (0, 1, 0, 1, 0, 2, 3),
        ),
    ],
)
def test_repeats_and_endings_are_followed(signs, order):
    told = [RepeatSign(one[0], one[1], *one[2:3], *(frozenset(each) for each in one[3:])) for one in signs]
    assert order_played(4, told) == order


@pytest.mark.parametrize(
    "marks",
    [
        {3: "DaCapo"},
        {1: "Fine", 3: "DaCapoAlFine"},
        {1: "Segno", 2: "Fine", 4: "DalSegnoAlFine"},
        {1: "Segno", 4: "DalSegno"},
        {1: "Segno", 2: "Coda", 4: "DalSegnoAlCoda", 5: "Coda"},
        {1: "Coda", 3: "DaCapoAlCoda", 4: "Coda"},
    ],
)
def test_da_capo_and_dal_segno_are_played_as_music21_expands_them(marks):
    signs, score, codas = [], stream.Part(), 0
    for number in range(6):
        bar = stream.Measure(number=number + 1)
        bar.append(music21_note.Note(60 + number, quarterLength=4.0))  # the expanded bars are numbered anew
        if name := marks.get(number):
            jump = DA_CAPO if name.startswith("DaCapo") else DAL_SEGNO if name.startswith("DalSegno") else ""
            other = {"Segno": SEGNO, "Fine": FINE, "Coda": CODA if codas else TO_CODA}.get(name, jump)
            codas += name == "Coda"
            bar.insert(0.0 if other in (SEGNO, CODA) else 4.0, getattr(repeat, name)())
            signs.append(RepeatSign(number, other))
        score.append(bar)
    expanded = repeat.Expander(score).process().flatten().notes
    assert order_played(6, signs) == tuple(note.pitch.midi - 60 for note in expanded)


def test_a_way_from_the_end_to_the_segno_is_told_as_any_other(desk):
    """From C sharp at the end to low B at the segno, in quick notes."""
    written = part_of("B3 E4 G4 C#4", tempo=100.0, quarters=0.25)
    events = tuple(replace(one, bar_index=number, in_bar=Fraction(0)) for number, one in enumerate(written.events))
    for signs, told in (((), 0), ((RepeatSign(0, SEGNO), RepeatSign(3, DAL_SEGNO)), 1)):
        part = replace(written, events=events, played=order_played(4, signs) if signs else ())
        (one,) = planned(part, (), lambda _: desk)
        found = [each.code for step in one.steps() for each in step_remarks(part, step).findings]
        assert found == ["H2"] * told


def test_the_last_note_of_a_repeat_is_joined_to_its_first_one(desk):
    names = "F5 A#5 A5 B5"
    written = part_of(names)
    events = tuple(
        Event(**{f: getattr(one, f) for f in Event.__dataclass_fields__} | {"bar_index": n})
        for n, one in enumerate(written.events)
    )
    part = Part("P1", 1, "Flute", "", events=events, played=(0, 1, 1, 2, 1, 3))
    (one,) = planned(part, (), lambda _: desk)
    assert {(join.before, join.after) for join in one.line.joins} == {(0, 1), (1, 1), (1, 2), (2, 1), (1, 3)}


def test_a_trill_has_a_fingering_for_its_upper_note_by_the_key_or_by_its_sign(desk):
    pitch = Pitch.parse("C5")
    for sign, upper in (("", "1 | tr1 Eb"), ("flat", "| Eb")):
        note = Note(1, 50, pitch, pitch, ornaments=(Ornament("trill", accidental=sign),))
        event = Event((note,), "1", 0, Fraction(1), Fraction(0), Fraction(2), 0.0, 1.0, "1", 1)
        (one,) = planned(Part("P1", 1, "Flute", "", events=(event,)), (), lambda _: desk)
        assert str(one.option(0).other) == upper
    in_flats = Note(1, 50, Pitch.parse("A4"), Pitch.parse("A4"), ornaments=(Ornament("trill"),))
    event = Event((in_flats,), "1", 0, Fraction(1), Fraction(0), Fraction(2), 0.0, 1.0, "1", 1)
    part = Part("P1", 1, "Flute", "", events=(event,), keys=((0, -3),))
    (one,) = planned(part, (), lambda _: desk)
    assert (str(one.option(0).start), str(one.option(0).other)) == ("Tb 1 2 | Eb", "Tb 1 | Eb")


@pytest.mark.parametrize("name", ["A#4", "A#5", "F#4", "F#5", "D5", "D#5", "E6", "F#6"])
def test_every_alternative_sounds_its_note_by_the_model(desk, name):
    """Within a semitone's half of the note, as one of its resonances that is expected to sound: 50 cents, for notes of the third
    octave lie high (charts/flute.toml)."""
    pitch = Pitch.parse(name)
    for one in ways_of(desk.model.instrument, pitch.midi):
        near = [
            each for each in sounds(desk.model, one.fingering) if abs(Pitch.from_hz(each.hz).midi - pitch.midi) < 0.5
        ]
        assert near and near[0].strength > 0.5, (name, str(one.fingering))


def test_the_trill_keys_sound_the_upper_note_by_the_model(desk):
    for low, high in (("C5", "D5"), ("C6", "D6"), ("C#5", "D5"), ("C#6", "D6"), ("C#5", "D#5"), ("C#6", "D#6")):
        midi = Pitch.parse(high).midi
        pairs = trills_of(desk.model.instrument, Pitch.parse(low).midi, midi)
        keys = [two.fingering for _, two in pairs if "tr" in str(two.fingering)]
        assert keys, (low, high)
        away = [abs(Pitch.from_hz(each.hz).midi - midi) for each in sounds(desk.model, keys[0])]
        assert min(away) < 0.5, (low, high)


def test_fingerings_that_leave_every_hole_alike_are_told_as_the_mechanism_tells_them(desk):
    """Random pairs with one finger elsewhere, on a flute with vents."""
    flute = load("vented-b")
    rng = np.random.default_rng(3)
    options = choices(flute)
    same = 0
    for _ in range(400):
        one = [each[rng.integers(len(each))].touch for each in options]
        finger = int(rng.integers(len(options)))
        two = [*one[:finger], options[finger][rng.integers(len(options[finger]))].touch, *one[finger + 1 :]]
        first, second = Fingering(tuple(one)), Fingering(tuple(two))
        alike = bool((hole_states(flute, first) == hole_states(flute, second)).all())
        assert (holes_held(flute, first) == holes_held(flute, second)) == alike
        same += alike and first != second
    assert same


def told_places(part, desk, code="H2"):
    (one,) = planned(part, (), lambda _: desk)
    return {
        step.after.first.onset
        for step in one.steps()
        for each in step_remarks(part, step).findings
        if each.code == code
    }


def test_raising_the_tempo_turns_findings_of_the_hand_on_in_order_and_never_off(desk):
    names = "C#4 B3 C#4 C4 D#4 F#4 E4 C5 D5 C5 D5 A#4 C4 G5"
    tempos = (60.0, 120.0, 180.0, 240.0, 300.0, 400.0, 600.0)
    told = [told_places(part_of(names, tempo, quarters=0.25), desk) for tempo in tempos]
    counts = [len(one) for one in told]
    assert counts[0] == 0 and counts == sorted(counts) and len(set(counts)) >= 3
    assert all(slower <= faster for slower, faster in pairwise(told))


def test_sixteenths_at_120_in_any_scale_are_nothing_to_tell_and_low_b_to_c_sharp_is(desk):
    """What every player is asked in lessons; from the B key to the C sharp key there is no smooth motion (common practice)."""
    for steps in (range(12), (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 11), (0, 3, 6, 9), (0, 4, 7)):
        for key in range(12):
            up = [str(Pitch.from_midi(midi)) for midi in range(60, 97) if (midi - key) % 12 in steps]
            assert not told_places(part_of(" ".join(up + up[::-1]), 120.0, quarters=0.25), desk), (steps, key)
    assert told_places(part_of("B3 C#4", 120.0, quarters=0.25), desk)


def test_a_little_finger_that_slides_twelve_times_a_second_is_told_and_eight_times_is_not(desk):
    assert told_places(part_of("C4 D#4 C4 D#4", 176.0, quarters=0.25), desk)
    assert not told_places(part_of("C4 D#4 C4 D#4", 120.0, quarters=0.25), desk)


def test_tied_notes_leave_the_fingers_the_time_of_one(desk):
    """D5 tied to a sixteenth, then C5, at 280: eight fingers, and 268 ms for them."""
    long, short, after = part_of("D5 D5 C5", tempo=280.0, quarters=1.0).events
    tie = replace(short.notes[0], tie_stop=True)
    short = replace(short, notes=(tie,), seconds_end=short.seconds + 0.054)
    part = Part("P1", 1, "F", "", events=(long, short, replace(after, seconds=short.seconds_end)))
    (one,) = planned(part, (), lambda _: desk)
    assert not [each for step in one.steps() for each in step_remarks(part, step).findings]


def test_the_tempo_that_would_do_does(desk):
    quick = part_of("C#4 B3 C#4", 240.0, quarters=0.25)
    (one,) = planned(quick, (), lambda _: desk)
    (finding, *_) = (each for step in one.steps() for each in step_remarks(quick, step).findings if each.code == "H2")
    slower = dict(finding.advice.values)["slower"]
    assert 0 < slower < 240
    assert not told_places(part_of("C#4 B3 C#4", slower, quarters=0.25), desk)
    assert told_places(part_of("C#4 B3 C#4", slower * 1.1, quarters=0.25), desk)


def test_a_leap_over_three_octaves_in_no_time_is_told_and_with_time_it_is_not(desk):
    assert told_places(part_of("C4 C7", 300.0, quarters=0.25), desk, "H5")
    assert not told_places(part_of("C4 C7", 60.0), desk, "H5")
    assert not told_places(part_of("C4 C5", 400.0, quarters=0.25), desk, "H5")


def test_a_leap_beyond_an_octave_and_a_fifth_takes_a_tenth_of_a_second_for_each_further_octave(desk):
    """C4 to G6, an octave beyond: 0.1 s, of which a sixteenth leaves 0.107 s at 70 and 0.094 s at 80 quarters a minute."""
    assert not told_places(part_of("C4 G6", 70.0, quarters=0.25), desk, "H5")
    assert told_places(part_of("C4 G6", 80.0, quarters=0.25), desk, "H5")


def test_a_joint_is_taken_up_in_a_tenth_of_a_second_and_then_drawn_150_mm_a_second():
    assert seconds_to_draw(30.0) == seconds_to_draw(-30.0) == pytest.approx(0.3)
    assert seconds_to_draw(1.5) == 0.0 < seconds_to_draw(1.6)


def test_a_note_that_the_joint_leaves_beside_its_pitch_is_told_from_ten_cents_on(desk):
    quick = part_of("C4 D4")
    (one,) = planned(quick, (), lambda _: desk)
    (step,) = one.steps()

    def codes(cents):
        out = replace(step.two, begins_mm=20.0, off_cents=cents)
        return [each.code for each in note_out_remarks(quick, step.after, out)]

    assert codes(9.0) == codes(-9.0) == [] and codes(11.0) == codes(-11.0) == ["G3"]


def test_no_way_to_hold_a_note_is_more_than_a_finger_and_a_half_harder_than_the_charts():
    """F sharp with the side key of B flat held too shuts the same holes, and nobody holds it so."""
    ways = [str(one.fingering) for one in ways_of(load("open-hole-b"), 66.0)]
    assert len(ways) == 4 and not any("Bb" in one for one in ways)


def test_a_microtone_may_be_off_by_two_fifths_of_its_distance_and_a_played_one_by_thirty_cents(desk):
    def asked(kind, pitch):
        return Demand("d1", kind, Place("Flute", "P1"), (), (Pitch.parse(pitch),), (Pitch.parse(pitch),))

    told = [desk.tolerance(asked(Kind.MICROTONE, f"C5+{cents}")) for cents in (50, 33, 25, 5)]
    assert told == pytest.approx([20.0, 13.2, 10.0, 5.0])
    assert desk.tolerance(asked(Kind.MULTIPHONIC, "C5")) == 30.0


def test_a_key_that_jumps_comes_after_all_that_roll_and_is_never_playable(desk):
    found = ways(desk, (Pitch.parse("A4"),), (Pitch.parse("A#4"),), 30.0)
    jumps = [is_a_jump(one) for one in found]
    assert any(jumps) and jumps == sorted(jumps)
    assert all(glide_status(one, 30.0) != "playable" and one.jump_cents > 35.0 for one in found if is_a_jump(one))
    assert is_a_jump(replace(found[0], jump_cents=36.0)) and not is_a_jump(replace(found[0], jump_cents=34.0))
    hands = [
        (one.means, one.path[0].fingering.touches[:-1], one.path[-1].fingering.touches[:-1], one.moving)
        for one in found
    ]
    assert len(set(hands)) == len(hands), "ways that differ by the little finger are one"


def test_what_a_rolling_finger_lacks_of_a_semitone_is_shared_by_the_lip_between_both_ends(desk):
    best = ways(desk, (Pitch.parse("A4"),), (Pitch.parse("A#4"),), 30.0)[0]
    asked, moved = 100.0, best.moved_cents[0]
    assert best.means == HALF_HOLE and moved < asked - 30.0, "fingers alone do not reach it"
    assert best.start_cents[0] == pytest.approx((asked - moved) / 2.0, abs=0.01)
    assert best.end_cents[0] == pytest.approx(-best.start_cents[0], abs=0.01)
    assert glide_status(best, 30.0) == "playable" and 0.0 < best.lip_cents <= desk.model.instrument.lip.bend_cents
    assert ways(desk, (Pitch.parse("A4"),), (Pitch.parse("A#4+50"),), 30.0)[0].lip_cents == 0.0, (
        "what it cannot mend it leaves"
    )


def test_tied_notes_are_one_hold_and_grace_notes_have_a_short_time(desk):
    one, two, three = part_of("A4 A4 B4", quarters=1.0).events
    held = replace(two, notes=(replace(two.notes[0], tie_stop=True),))
    (line,) = (each.line for each in planned(Part("P1", 1, "F", "", events=(one, held, three)), (), lambda _: desk))
    assert len(line.holds) == 2 and line.holds[0].last is held
    grace = replace(two, grace=True, duration=Fraction(0), seconds_end=two.seconds)
    (line,) = (each.line for each in planned(Part("P1", 1, "F", "", events=(one, grace, three)), (), lambda _: desk))
    assert [join.seconds - join.rest for join in line.joins] == pytest.approx([WEIGHTS.of_a_note * WEIGHTS.grace_s] * 2)


def test_repeats_endings_keys_and_dynamics_are_read_from_a_score():
    def bar(number, inside="", right=""):
        note = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>4</duration><voice>1</voice></note>"
        return f'<measure number="{number}">{inside}{note}{right}</measure>'

    first = "<attributes><divisions>1</divisions><key><fifths>-3</fifths></key></attributes>"
    loud = "<direction><direction-type><dynamics><ff/></dynamics></direction-type></direction>"
    one = '<barline location="left"><ending number="1" type="start"/></barline>'
    back = '<barline location="right"><ending number="1" type="stop"/><repeat direction="backward"/></barline>'
    two = '<barline location="left"><ending number="2" type="start"/></barline>'
    jump = '<direction><direction-type><words>D.C.</words></direction-type><sound dacapo="yes"/></direction>'
    bars = bar(1, first) + bar(2, one + loud, back) + bar(3, two) + bar(4, jump)
    text = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
        f'</part-list><part id="P1">{bars}</part></score-partwise>'
    )
    (part,) = read_score(text.encode()).parts
    assert part.played == (0, 1, 0, 2, 3, 0, 2, 3)
    assert part.keys == ((0, -3),) and part.dynamics == ((Fraction(4), 1, "ff"),)


def test_a_tremolo_of_two_plain_notes_is_weighed_as_quick_however_slow_they_are_written(desk):
    one, two = part_of("A4 B4", tempo=30.0, quarters=2.0).events
    ends = [
        replace(event, notes=(replace(event.notes[0], ornaments=(Ornament("tremolo", role, 3),)),))
        for event, role in ((one, "start"), (two, "stop"))
    ]
    (line,) = (each.line for each in planned(Part("P1", 1, "F", "", events=tuple(ends)), (), lambda _: desk))
    assert line.joins[0].seconds < 0.1
