"""The MusicXML 4.0 schema (W3C Music Notation Community Group) as the ``musicxml`` wheel ships it.

Its two imports lead to the web; both are answered here with the few attributes that the schema names.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

from lxml import etree

_STUBS = {
    "xml.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/XML/1998/namespace">
        <xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:string"/></xs:schema>""",
    "xlink.xsd": """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">
        <xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:string"/>
        <xs:attribute name="role" type="xs:string"/><xs:attribute name="title" type="xs:string"/>
        <xs:attribute name="show" type="xs:string"/><xs:attribute name="actuate" type="xs:string"/></xs:schema>""",
}


class _Stubs(etree.Resolver):
    def resolve(self, system_url: str, public_id: str, context: object) -> object:
        stub = _STUBS.get((system_url or "").rpartition("/")[2])
        return self.resolve_string(stub, context) if stub else None


@cache
def musicxml_schema() -> etree.XMLSchema:
    """The compiled schema."""
    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Stubs())
    return etree.XMLSchema(etree.parse(str(Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd"), parser))


def schema_errors(document: bytes) -> list[str]:
    """What the schema finds wrong with ``document``."""
    schema = musicxml_schema()
    schema.validate(etree.fromstring(document, etree.XMLParser(load_dtd=False, no_network=True)))
    return [f"line {error.line}: {error.message}" for error in schema.error_log]
