"""Writing MusicXML: valid against the schema, the same bytes every time, and read again as the same passage."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, given, settings

from oracles.score_passages import passages
from oracles.score_schema import schema_errors
from truestop.adapters.score.musicxml_reading import read_musicxml
from truestop.adapters.score.musicxml_writing import write_musicxml
from truestop.domain.passage import Passage


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(passages())
def test_what_is_written_reads_again_as_the_same_passage(passage: Passage) -> None:
    document = write_musicxml(passage)
    assert read_musicxml(document, name="passage.musicxml").passages[0] == passage


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(passages())
def test_what_is_written_is_valid_musicxml_4(passage: Passage) -> None:
    assert schema_errors(write_musicxml(passage)) == []


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(passages())
def test_the_same_passage_gives_the_same_bytes(passage: Passage) -> None:
    assert write_musicxml(passage) == write_musicxml(replace(passage))
