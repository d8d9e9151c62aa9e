"""The page's questions, one function each: parse, ask the desk, answer with plain values."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, File, Form, UploadFile
from fastapi.responses import Response

from truestop import __version__
from truestop.domain.errors import StoreError
from truestop.domain.fingering import STYLES, Pin, propose_fingerings
from truestop.domain.instrument import LENGTHS_MM, TUNINGS, USUAL_SIZE
from truestop.domain.stop import FingeredPassage
from truestop.domain.tuning import make_intonation
from truestop.web.choices import Choices
from truestop.web.desk import RoomDesk
from truestop.web.music import LARGEST_FILE_BYTES, OpenPassage, read_pin
from truestop.web.pictures import board_svg, part_svg, view_passage, view_stage
from truestop.web.recorded import add_record, wave_answer
from truestop.web.takes import TakeFolder
from truestop.web.tones import sound_of_stage, sound_of_string

View = dict[str, Any]
PASSAGE_MM = 190
ALTERNATIVES = 3
CAUTIONS = (
    "Stop when it hurts. Numbness, tingling or pain that lasts belong to a doctor or a physiotherapist.",
    "Rest the hands now and then; the room reminds you after 25 minutes. Add load slowly.",
    "Reference tones start quiet. Keep them as quiet as you can; loud sound close to the ear harms hearing.",
    "Your teacher's advice comes before anything this room says.",
)


def make_questions(desk: RoomDesk, takes: TakeFolder) -> APIRouter:
    """All questions below /api."""
    router = APIRouter(prefix="/api")
    for add in (_about_choices, _about_passages, _about_fingering, _about_practice, add_record):
        add(router, desk)
    return router


def _about_choices(router: APIRouter, desk: RoomDesk) -> None:
    @router.get("/start")
    def start() -> View:
        cards = desk.music.cards()[:12]
        return {
            "version": __version__,
            "cautions": list(CAUTIONS),
            "instruments": {
                name: {"sizes": dict(sizes), "usual": USUAL_SIZE[name], "tunings": list(TUNINGS.get(name, ()))}
                for name, sizes in LENGTHS_MM.items()
            },
            "passages": [
                {"id": card.id, "title": card.title, "instrument": card.family, "shifts": card.shifts} for card in cards
            ],
            "settings": _view_choices(desk.choices),
            "open_strings": _open_strings(desk.choices),
        }

    @router.put("/settings")
    def settings(asked: Annotated[dict[str, Any], Body()]) -> View:
        return _view_choices(desk.choose(asked))

    @router.put("/strings")
    def strings(hz: Annotated[list[float | None] | None, Body(embed=True)]) -> View:
        return _view_choices(desk.rename_strings(hz))

    @router.get("/strings/{string}/tone")
    def tone(string: int) -> Response:
        instrument = desk.choices.make_instrument()
        instrument.open_pitch(string)
        setup = desk.choices.setup(instrument.family)
        intonation = make_intonation("pythagorean", instrument=instrument, a4_hz=setup.a4_hz)
        return wave_answer(sound_of_string(intonation.open_string_hz(string), instrument.family))


def _view_choices(choices: Choices) -> View:
    return {name: getattr(choices, name) for name in Choices.__slots__} | {"open_strings": _open_strings(choices)}


def _open_strings(choices: Choices) -> list[str]:
    return [pitch.name for pitch in choices.make_instrument().strings]


def _about_passages(router: APIRouter, desk: RoomDesk) -> None:
    def view(opened: OpenPassage, width_mm: int = PASSAGE_MM) -> View:
        return view_passage(opened, desk.stand, width_mm=width_mm)

    @router.post("/passages/demo")
    def study(wide: int = PASSAGE_MM) -> View:
        return view(desk.music.add_study(desk.choices), wide)

    @router.post("/passages/typed")
    def typed(text: Annotated[str, Body(embed=True, max_length=2000)], wide: int = PASSAGE_MM) -> View:
        return view(desk.music.add_typed(text, desk.choices), wide)

    @router.post("/passages")
    def upload(
        file: Annotated[UploadFile, File()],
        part: Annotated[str, Form()] = "",
        measures: Annotated[str, Form()] = "",
        wide: int = PASSAGE_MM,
    ) -> View:
        data = file.file.read(LARGEST_FILE_BYTES + 1)
        opened = desk.music.add_file(
            data, file.filename or "the file", part=part.strip() or None, measures=measures.strip() or None,
            choices=desk.choices,
        )  # fmt: skip
        return view(opened, wide)

    @router.get("/passages/{passage}")
    def one(passage: str, wide: int = PASSAGE_MM) -> View:
        return view(desk.passage(passage), wide)

    @router.post("/passages/{passage}/instrument")
    def instrument(passage: str, wide: int = PASSAGE_MM) -> View:
        return view(desk.music.for_instrument(passage, desk.choices), wide)

    @router.get("/passages/{passage}/file")
    def file(passage: str) -> Response:
        opened = desk.passage(passage)
        headers = {"Content-Disposition": 'attachment; filename="fingered.musicxml"'}
        data = desk.annotated(opened)
        return Response(data, media_type="application/vnd.recordare.musicxml+xml", headers=headers)

    @router.get("/passages/{passage}/board")
    def board(
        passage: str,
        shift: int | None = None,
        note: str | None = None,
        mirrored: bool = False,
        bare: bool = False,
        wide: int = 150,
    ) -> View:
        in_hand = desk.in_hand(passage)
        return {"svg": board_svg(in_hand, shift=shift, note=note, mirrored=mirrored, bare=bare, width_mm=wide)}


def _about_fingering(router: APIRouter, desk: RoomDesk) -> None:
    def proposals(passage: str) -> Any:
        opened = desk.passage(passage)
        setup = opened.in_hand.setup
        return propose_fingerings(
            opened.passage, opened.in_hand.instrument, ALTERNATIVES, style=STYLES[setup.style],
            numbering=setup.numbering,
        )  # fmt: skip

    @router.post("/passages/{passage}/pin")
    def pin(passage: str, asked: Annotated[dict[str, Any], Body()], wide: int = PASSAGE_MM) -> View:
        pins = {str(asked.get("note")): read_pin(asked.get("finger"), asked.get("string"))}
        return view_passage(desk.music.pin(passage, pins, desk.choices), desk.stand, width_mm=wide)

    @router.delete("/passages/{passage}/pin")
    def unpin(passage: str, wide: int = PASSAGE_MM) -> View:
        return view_passage(desk.music.unpin(passage, desk.choices), desk.stand, width_mm=wide)

    @router.get("/passages/{passage}/alternatives")
    def alternatives(passage: str, wide: int = PASSAGE_MM) -> list[View]:
        return [
            {
                "number": number,
                "line": proposal.summary,
                "shifts": proposal.shifts,
                "svg": part_svg(proposal.fingered, proposal.way, desk.stand, width_mm=wide),
            }
            for number, proposal in enumerate(proposals(passage), 1)
        ]

    @router.post("/passages/{passage}/alternatives/{number}")
    def choose(passage: str, number: int, wide: int = PASSAGE_MM) -> View:
        found = proposals(passage)
        if not 1 <= number <= len(found):
            raise StoreError(f"There is no fingering {number}.", hint="Compare the fingerings again.")
        pins = pins_of(found[number - 1].fingered)
        return view_passage(desk.music.pin_all(passage, pins, desk.choices), desk.stand, width_mm=wide)


def pins_of(fingered: FingeredPassage) -> dict[str, Pin]:
    """A whole fingering as pins, one for the first stop of every note."""
    pins: dict[str, Pin] = {}
    for step in fingered.steps:
        for stop in step.stops:
            pins.setdefault(stop.note_id, Pin(finger=stop.finger, string=stop.string))
    return pins


def _about_practice(router: APIRouter, desk: RoomDesk) -> None:
    @router.get("/passages/{passage}/shifts/{number}/stages/{stage}")
    def stage(passage: str, number: int, stage: str, way: str = "", wide: int = 120, high: int = 60) -> View:
        in_hand = desk.in_hand(passage)
        return view_stage(
            in_hand, in_hand.shift(number), stage, way, desk.stand, width_mm=wide, height_mm=max(high, 10)
        )

    @router.get("/passages/{passage}/shifts/{number}/tone")
    def tone(passage: str, number: int, stage: str = "hear") -> Response:
        return wave_answer(sound_of_stage(desk.in_hand(passage), number, stage))
