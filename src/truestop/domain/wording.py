"""Every word that sheets and drills print, in one place, so that another language is another table.

Conventions: a text may hold fields in braces; every language's table has the same keys with the same fields. Pitches
are printed with real sharps and flats, strings as Roman numerals, fingers as digits or T.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from truestop.domain.pitch import Interval

ENGLISH_TEXTS: Mapping[str, str] = {
    # The sheet
    "sheet.kind.drill": "Shift drill",
    "sheet.kind.part": "Part with shifts marked",
    "sheet.kind.strip": "True-scale strip",
    "gallery.title": "Every kind of shift",
    "sheet.untitled": "Untitled passage",
    "sheet.instrument.violin": "Violin",
    "sheet.instrument.viola": "Viola",
    "sheet.instrument.cello": "Cello",
    "sheet.instrument.bass": "Double bass",
    "sheet.reference": "A = {hz} Hz",
    "sheet.length": "string length {mm} mm",
    "sheet.page": "{page} of {pages}",
    "sheet.tempo": "{note} = {bpm}",
    "sheet.tempo.ours": "{note} = about {bpm}",
    "sheet.tempo.none": "no tempo given; here {tempo}",
    "note.1/8": "thirty-second note",
    "note.1/4": "sixteenth note",
    "note.3/8": "dotted sixteenth note",
    "note.1/2": "eighth note",
    "note.3/4": "dotted eighth note",
    "note.1": "quarter note",
    "note.3/2": "dotted quarter note",
    "note.2": "half note",
    "note.3": "dotted half note",
    "note.4": "whole note",
    "note.6": "dotted whole note",
    "sheet.strings": "strings {strings}",
    "sheet.cautions": (
        "Stop when it hurts. Numbness, tingling or pain that lasts belong to a doctor or physiotherapist. Take breaks, "
        "add load slowly, keep reference tones quiet. Your teacher’s advice comes before this sheet."
    ),
    "sheet.rules": (
        "A missed landing is not mended by moving the finger: start again. After two misses in a row go back one "
        "exercise. Three true in a row: go on."
    ),
    "sheet.log": "One attempt a day: write the date, then tick true, or mark high or low.",
    # A shift's heading
    "shift.heading": "Shift {number}",
    "shift.measure": "bar {measure}",
    "shift.direction.up": "up",
    "shift.direction.down": "down",
    "shift.relation.same": "same finger",
    "shift.relation.to higher": "to a higher-numbered finger",
    "shift.relation.to lower": "to a lower-numbered finger",
    "shift.relation.through thumb": "through the thumb",
    "shift.relation.from open": "from an open string",
    "shift.relation.to open": "to an open string",
    "shift.crossing": "across strings",
    "shift.cover.rest": "over a rest",
    "shift.cover.open": "over an open string",
    "shift.cover.harmonic": "over a harmonic",
    "shift.stop": "{pitch} ({finger} on {string}, {position})",
    "shift.stop.open": "{pitch} (open {string})",
    "shift.from_to": "From {departure} to {arrival}, {interval}.",
    "shift.guide": "Guide: {guide}.",
    "shift.guide.one": "{finger} on {string} from {start} to {end}, {mm} mm {towards}",
    "shift.guide.stays": "{finger} on {string} stays on {start}, the hand comes after it",
    "shift.guide.none": "Nothing guides it: the travel is silent.",
    "shift.guide.silent": "The travel is silent; as it is practised: {guide}.",
    "towards.bridge": "towards the bridge",
    "towards.nut": "towards the nut",
    "position": "{label} position",
    "position.roman": "position {label}",
    "position.short": "pos. {label}",
    "position.note": "{label}",
    "finger.T": "thumb",
    "finger.1": "finger 1",
    "finger.2": "finger 2",
    "finger.3": "finger 3",
    "finger.4": "finger 4",
    "finger.0": "open string",
    "and": " and ",
    # Stages: heading and one-line instruction of each variant
    "name.name.heading": "Name it",
    "name.name.instruction": "Say strings, positions, fingers, interval, guide aloud.",
    "name.name.instruction.unguided": "Say strings, positions, fingers, interval aloud.",
    "hear.sing.heading": "Hear it: sing",
    "hear.sing.instruction": "Play {departure}; in the rest sing {arrival}, in any octave; play it.",
    "hear.sing.text": "sing",
    "hear.across.heading": "Hear it: in the old position",
    "hear.across.instruction": "Find {arrival} without travelling, keep it in the ear, shift to it.",
    "hear.octave.heading": "Hear it: an octave away",
    "hear.octave.instruction": "Take {arrival} an octave away, then shift to it.",
    "settle.frame.heading": "Settle: {to_position}",
    "settle.frame.instruction": "Start where you will arrive: let each finger find its place.",
    "settle.check.heading": "Settle, with the open string",
    "settle.check.instruction": "Begin in the new position; check {arrival} against open {open_string}.",
    "guide.slow.heading": "Guide alone",
    "guide.slow.instruction": (
        "{guide_finger} only, light, no vibrato: slow enough to hear the slide, quick enough to be one motion."
    ),
    "guide.check.heading": "Guide alone: stop and check",
    "guide.check.instruction": "In the rest travel without the bow, as light as a harmonic; then play and check.",
    "guide.set.heading": "Set the hand in silence",
    "guide.set.instruction": "Travel in the rest, set {set_finger} on {set_pitch}, check it, then play {arrival}.",
    "guide.set.instruction.arrived": "Travel and set {set_finger} in the rest; then play {arrival} and check it.",
    "land.guide.heading": "Land over the guide note",
    "land.guide.instruction": "Sound the small note on the way, then {arrival_finger}. A miss? Start again.",
    "land.slide.heading": "Land with the slide heard",
    "land.slide.instruction": "Let the slide be heard, stop on {arrival} and stay. A miss? Start again.",
    "land.set.heading": "Land over the set finger",
    "land.set.instruction": "The small note is set in silence; it is only there to measure {arrival} from.",
    "plain.plain.heading": "Plain",
    "plain.plain.instruction": "As written, without the guide note. Lift in the rest and begin anew each time.",
    "plain.plain.instruction.slid": (
        "As written, the slide no longer heard on purpose. Lift in the rest and begin anew each time."
    ),
    "plain.plain.instruction.rest": (
        "As written: travel in the first rest, lift in the second and begin anew each time."
    ),
    "plain.plain.instruction.ringing": (
        "As written: travel while the open string sounds. Lift in the rest and begin anew each time."
    ),
    "plain.plain.instruction.to open": "As written. Lift in the rest and begin anew each time.",
    "in time.rhythms.heading": "In time: three rhythms",
    "in time.rhythms.instruction": "Arrive on the beat at {tempo}: the travel takes its time from the note before.",
    "in time.old bow.heading": "In time: on the old bow",
    "in time.old bow.instruction": "Travel before the bow changes; the new bow begins with {arrival}.",
    "in time.new bow.heading": "In time: on the new bow",
    "in time.new bow.instruction": "Change the bow first, then travel; keep the bow light on the way.",
    "in time.one bow.heading": "In time: in one bow",
    "in time.one bow.instruction": "Slurred: lighten the bow on the way, do not stop it.",
    "in time.return.heading": "In time: there and back",
    "in time.return.instruction": "The way back is a shift of its own: {departure} must be as true as {arrival}.",
    "in time.return.instruction.to open": "The way back is a shift of its own: is {departure} as true as it was?",
    "in time.return.instruction.same note": (
        "The way back is a shift of its own: {departure} must be as true with either finger."
    ),
    "in the passage.bars.heading": "In the passage: one bar either side",
    "in the passage.bars.instruction": "At {passage_tempo}. The arrow marks the shift.",
    "in the passage.phrase.heading": "In the passage: the phrase",
    "in the passage.phrase.instruction": (
        "Once, without stopping; name the landing before you are told. Last, with vibrato."
    ),
    "cold.cold.heading": "Cold",
    "cold.cold.instruction": "On another day, first thing, mixed with other shifts: one attempt, and it counts.",
    # The annotated part
    "part.shift": "{number} {arrow} {position}",
    "part.arrow.up": "↗",
    "part.arrow.down": "↘",
    "part.legend": "Number and arrow: shift and its direction. Name: the position reached. Small notes: guide notes.",
    # The fingerboard
    "board.mm": "mm from nut",
    "board.legend.leave": "leave",
    "board.legend.reach": "arrive",
    "board.legend.guide": "guide, not written",
    "board.legend.frame": "arrival frame",
    "board.legend.path": "way of the guide",
    "board.ruler": "This line is 100 mm long. If yours is not, print again at 100 %, without fitting to the page.",
    "board.strip": "String {string}, open {open}: places at true scale, {mm} mm string length.",
    "board.strip.join": "join here",
    "board.strip.hint": "Cut along the frame, lay the nut end at the nut, beside the string.",
    # The report
    "report.kind": "Progress report",
    "report.standing": "How secure each shift is: full secure, half still open, empty not yet, a dash untried.",
    "report.diary": "Judged attempts by day, all pieces together, the true ones filled; a ring where a cold test was made.",
    "report.landings": "{true} of {judged} landings true",
    "report.cold": "cold {share}",
    "report.warm": "warm {share}",
    "report.trend.rising": "more are true from week to week",
    "report.trend.falling": "fewer are true from week to week",
    "report.days": "{days} days of practice",
    "report.days.one": "one day of practice",
    "report.rules": (
        "Disc true, triangle high or low, square corrected, diamond early or late, cross wrong note; a ring is cold. "
        "Standing by cold attempts alone: {test}. Bounds are 95 %."
    ),
    "report.shift": "{true} of {judged} true; cold {cold}, warm {warm}. {landings}",
    "report.share": "{true}/{judged} ({low}–{high})",
    "report.share.none": "none yet",
    "report.bias": "Bias {cents} cents ({mm} mm).",
    "report.bias.spread": "Bias {cents} cents ({mm} mm), spread {spread_cents} cents ({spread_mm} mm).",
    # The word for an attempt
    "verdict.unjudged": "unjudged",
    "verdict.wrong note": "wrong note",
    "verdict.corrected": "corrected",
    "verdict.high": "high",
    "verdict.low": "low",
    "verdict.early": "early",
    "verdict.late": "late",
    "verdict.true": "true",
    # How a shift stands, and the sequential test
    "shift.label": "no. {number}, bar {measure}: {departure} → {arrival}, {start} to {end}",
    "shift.label.back": "way back, bar {measure}: {departure} → {arrival}, {start} to {end}",
    "shift.label.stop": "{pitch} {finger}",
    "standing.secure": "secure",
    "standing.not yet": "not yet",
    "standing.still open": "still open",
    "standing.to go": "{standing}, {count} straight true cold ones to secure",
    "test": "share {low} against {high}, error rates {alpha} and {beta}",
    # Why a shift fails: the sentence, the evidence, the exercise
    "side.sharp": "sharp",
    "side.flat": "flat",
    "group.kind": "{kind}",
    "group.finger": "arriving with {finger}",
    "group.string": "arriving on {string}",
    "group.position": "to {position} position",
    "group.direction.up": "up",
    "group.direction.down": "down",
    "cause.wrong distance.far": "The hand goes {way} too far ({cents} cents {side}) on average{start}.",
    "cause.wrong distance.short": "The hand stays {way} short ({cents} cents {side}) on average{start}.",
    "cause.wrong distance.start": "; the start is right",
    "cause.way": "{mm} mm",
    "cause.way.unknown": "a little",
    "cause.wrong start": "The distance is right, but it starts {side}, so it lands {side}.",
    "cause.finger spacing": "The hand arrives, but finger {finger} falls {side}.",
    "cause.in general": "Not this shift alone: {group}, you land {side} in general.",
    "cause.no stable target": "There is no stable target: landings scatter to both sides.",
    "cause.ear ahead of hand": "The ear is ahead of the hand: it lands beside the note and is moved there.",
    "cause.leaves late": "It comes late because it leaves late; the travel itself is quick enough.",
    "cause.travels slowly": "It comes late because the travel is slow.",
    "cause.arrives early": "It comes early: the departure note is cut short.",
    "cause.only in the passage": "It works by itself, but not in the passage.",
    "cause.no fault found": "No fault stands out.",
    "cause.no single cause": "It misses for no single reason: {misses}.",
    "cause.no single cause.miss": "{count} {verdict}",
    "cause.too few attempts.none": "Not tried yet.",
    "cause.too few attempts.one": "One judged attempt so far: too few to say why.",
    "cause.too few attempts": "{count} judged attempts so far: too few to say why.",
    "evidence.counts": "{true} of {judged} true, cold {cold_true} of {cold_judged}.",
    "evidence.bias": "Landings lie {cents} ± {reach} cents from the note, {count} landings{start}{guide}.",
    "evidence.bias.mm": (
        "Landings lie {cents} ± {reach} cents from the note, {mm} mm on the string, {count} landings{start}{guide}."
    ),
    "evidence.bias.start": "; the departure note {departure}, the distance {distance} cents",
    "evidence.bias.guide": "; the guide note {guide} cents",
    "evidence.spread": (
        "Landings spread by {cents} cents around their middle, over {count} landings; the tolerance is {tolerance}."
    ),
    "evidence.spread.mm": (
        "Landings spread by {cents} cents ({mm} mm) around their middle, over {count} landings; "
        "the tolerance is {tolerance}."
    ),
    "evidence.corrected": "{corrected} of {judged} landings were moved towards the note after they had landed.",
    "evidence.early": "Arrivals come {ms} ms before the beat, over {count} attempts.",
    "evidence.late": "Arrivals come {ms} ms after the beat, over {count} attempts.",
    "evidence.late.slide": (
        "Arrivals come {ms} ms after the beat, over {count} attempts; the slide takes {slide} ms where {usual} are "
        "usual for you."
    ),
    "evidence.passage": "By itself {here_true} of {here} are true, in the passage {there_true} of {there}.",
    "exercise.too few attempts": "Play it plainly, a few attempts a day, the first one cold.",
    "exercise.no fault found": "Leave it for its next cold test.",
    "exercise.no single cause": "Play it plainly, slower, and say high, low or true before you look.",
    "exercise.wrong distance": ("Guide finger alone, slurred, up and down; stop and check the place before you go on."),
    "exercise.wrong start": "Check the departure note against an open string, then shift from there only.",
    "exercise.no stable target": (
        "Sing the arrival note before each attempt; then settle in the new position, play its frame."
    ),
    "exercise.ear ahead of hand": "Leave a wrong landing where it is and start again from the departure note.",
    "exercise.leaves late": "Take the time for the travel from the departure note: leave it sooner and lighter.",
    "exercise.travels slowly": (
        "Guide finger alone as one motion, with the lightest pressure, a little quicker each time."
    ),
    "exercise.arrives early": "Hold the departure note for its full length; count the beat before you leave.",
    "exercise.finger spacing": "Stay in the new position and play its frame until this finger finds its place.",
    "exercise.in general": "Play the frame in several positions and tune these notes against open strings.",
    "exercise.only in the passage": "One bar either side, slow enough to think of the shift; then the phrase.",
    # The studio
    "studio.title": "Studio",
    "studio.kind": "How everybody stands",
    "studio.until": "{days} days to {weekday} {day} {month}",
    "studio.until.none": "no attempts yet",
    "studio.players": "{players} players",
    "studio.players.one": "one player",
    "studio.shifts": "{tried} shifts tried, {secure} secure",
    "studio.shifts.one": "one shift tried, {secure} secure",
    "studio.rules": (
        "Shifts: full secure, half still open, empty not yet. Cold and all: true of judged, bar 95 % bounds, ring the "
        "share. Columns: judged attempts a day. Standing by cold attempts alone: {test}."
    ),
    # The plan of a session
    "plan.title": "{weekday} {day} {month}",
    "plan.kind": "What to practise",
    "plan.minutes": "{minutes} min",
    "plan.attempts": "{attempts} attempts",
    "plan.attempts.one": "one attempt",
    "plan.tests": "Cold tests",
    "plan.tests.rule": "One attempt each, no trial before it.",
    "plan.test": "☐ {label}. {reason}",
    "plan.work": "Work, in this order",
    "plan.block": "☐ no. {number} {stage} {attempts}×",
    "plan.label": "{title}, {label}",
    "plan.piece": "{title}:",
    "plan.break": "Break, {minutes} min. {reason}",
    "plan.why": "Why, and how",
    "plan.end": "End",
    "plan.left out": "Not today: {label}, {reason}.",
    "plan.no room": "due, but there is no room for its cold test today",
    "plan.rule": (
        "In every block: a miss starts again from the departure note; after two misses in a row stop the block, "
        "go slower or back a stage."
    ),
    "plan.exercise.test": "One attempt, no trial before it.",
    "plan.exercise.sound": "As written, a few times, each as if it were the first.",
    "plan.exercise.plain": "Now as written; a miss starts again from the departure note.",
    "plan.reason.never": "It was never tested cold.",
    "plan.reason.today": "Due today: {state}{deadline}.",
    "plan.reason.since.one": "Due since one day: {state}{deadline}.",
    "plan.reason.since": "Due since {days} days: {state}{deadline}.",
    "plan.state.secure": "secure; it is tested now and then",
    "plan.state.missed": "it was secure, but missed since",
    "plan.state.open": "{true} of {judged} cold attempts true, {count} straight ones to secure",
    "plan.deadline.none": "",
    "plan.deadline.today": "; the performance is today",
    "plan.deadline.one": "; the performance is in one day",
    "plan.deadline": "; the performance is in {days} days",
    "plan.reason.upkeep": "Secure: a few attempts after its test keep it so{deadline}.",
    "plan.reason.work": "True cold about {level} times in 100 now{deadline}. {why}",
    "plan.why.none": "It is not secure yet.",
    "plan.pause": "Put the instrument down; loosen the hand.",
    "plan.end.empty": "Nothing to practise yet: keep a take of a passage first.",
    "plan.end.nothing": "Nothing is due and nothing needs work. The next cold test is on {day}.",
    "plan.end.tests": "Stop here: the cold tests fill the time. Stop sooner if anything hurts.",
    "plan.end.no work": "Stop here: nothing else needs work today. Stop sooner if anything hurts.",
    "plan.end.allowance": "Stop here: what needs work has had its {attempts} attempts today. Come back tomorrow.",
    "plan.end.enough": (
        "Stop here: the last attempts say little, the next cold test will tell. Stop sooner if anything hurts."
    ),
    "day": "{weekday} {day} {month}",
    "weekday.0": "Monday",
    "weekday.1": "Tuesday",
    "weekday.2": "Wednesday",
    "weekday.3": "Thursday",
    "weekday.4": "Friday",
    "weekday.5": "Saturday",
    "weekday.6": "Sunday",
    "month.1": "January",
    "month.2": "February",
    "month.3": "March",
    "month.4": "April",
    "month.5": "May",
    "month.6": "June",
    "month.7": "July",
    "month.8": "August",
    "month.9": "September",
    "month.10": "October",
    "month.11": "November",
    "month.12": "December",
    # Pictures of progress: what is read aloud, what stands at their scales
    "picture.mm": "{mm} mm",
    "picture.day": "{day}.{month}.",
    "picture.landings": "Landings in mm from the place, in the order they were played",
    "picture.share": "Share of true landings by day, with 95 % bounds",
    "picture.diary": "Judged attempts by day, all pieces together, the true ones filled; a ring where a cold test was made",
    "picture.standing": "How secure each shift is, in the order of the music",
    "picture.beside": "Landings, and the share of true ones",
    "picture.studio": "How every player of the studio stands",
    "picture.studio.player": "Player",
    "picture.studio.shifts": "Shifts",
    "picture.studio.cold": "Cold",
    "picture.studio.all": "All",
    "picture.studio.a day": "A day",
    "picture.studio.last": "Last",
    "picture.studio.days": "{days} days",
    "picture.studio.days.one": "one day",
    # Intervals
    "interval.up": "{name} up",
    "interval.down": "{name} down",
    "interval.unison": "the same pitch",
    "quality.P": "perfect",
    "quality.M": "major",
    "quality.m": "minor",
    "quality.A": "augmented",
    "quality.d": "diminished",
    "quality.AA": "doubly augmented",
    "quality.dd": "doubly diminished",
    "number.1": "unison",
    "number.2": "second",
    "number.3": "third",
    "number.4": "fourth",
    "number.5": "fifth",
    "number.6": "sixth",
    "number.7": "seventh",
    "number.8": "octave",
    "number.9": "ninth",
    "number.10": "tenth",
    "number.11": "eleventh",
    "number.12": "twelfth",
    "number.13": "thirteenth",
    "number.14": "fourteenth",
    "number.15": "double octave",
    "number.16": "sixteenth",
    "number.17": "seventeenth",
    "number.18": "eighteenth",
    "number.19": "nineteenth",
    "number.20": "twentieth",
    "number.21": "twenty-first",
    "number.22": "triple octave",
    "number.far": "interval of {number} notes",
}


@dataclass(frozen=True, slots=True)
class Saying:
    """Something to be said, in whatever language: a key of the table and its fields, which may be sayings or days."""

    key: str
    fields: Mapping[str, object]

    def __str__(self) -> str:
        return ENGLISH.tell(self)


def saying(key: str, **fields: object) -> Saying:
    """A saying; KeyError at once where the table has no such key."""
    if key not in ENGLISH_TEXTS:
        raise KeyError(key)
    return Saying(key, fields)


@dataclass(frozen=True, slots=True)
class Wording:
    """One language's texts."""

    texts: Mapping[str, str]

    def tell(self, said: Saying) -> str:
        """A saying in this language."""
        return self.say(said.key, **{name: self._field(value) for name, value in said.fields.items()})

    def _field(self, value: object) -> object:
        if isinstance(value, Saying):
            return self.tell(value)
        if isinstance(value, date):
            return self.say("day", **self.day_fields(value))
        if isinstance(value, tuple):
            return ", ".join(str(self._field(each)) for each in value)
        return value

    def say(self, key: str, **fields: object) -> str:
        """The text of ``key`` with its fields filled in."""
        return self.texts[key].format(**fields)

    def day_fields(self, day: date) -> dict[str, object]:
        """A day's weekday and month by name, and its number in the month: fields of the texts that print a day."""
        return {
            "weekday": self.say(f"weekday.{day.weekday()}"),
            "day": day.day,
            "month": self.say(f"month.{day.month}"),
        }

    def position(self, label: str) -> str:
        """A position's label as a sentence names it: '3rd position', 'position II', 'thumb on A4'."""
        if " on " in label:
            return self.say("position.note", label=label)
        return self.say("position.roman" if set(label) <= set("IVX–") else "position", label=label)

    def place_name(self, label: str) -> str:
        """A position's label over the staff, never to be taken for a string's numeral."""
        return self.say("position.short", label=label) if set(label) <= set("IVX–") else label

    def interval(self, interval: Interval) -> str:
        """An interval in words.

        >>> ENGLISH.interval(Interval(4, 7))
        'perfect fifth up'
        """
        if interval.steps == 0 and interval.semitones == 0:
            return self.say("interval.unison")
        name = interval.name
        quality, number = name[1:].rstrip("0123456789"), name.lstrip("+-PMmAd")
        quality_word = self.texts.get(f"quality.{quality}", quality)
        number_word = self.texts.get(f"number.{number}") or self.say("number.far", number=number)
        direction = "interval.up" if name.startswith("+") else "interval.down"
        return self.say(direction, name=f"{quality_word} {number_word}")


ENGLISH = Wording(ENGLISH_TEXTS)
