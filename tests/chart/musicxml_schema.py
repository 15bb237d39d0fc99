"""The W3C's schema of MusicXML 4.0, as the package musicxml carries it."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from lxml import etree

# The schema imports two others from the web; of XLink only these attributes are used.
_XLINK = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
 targetNamespace="http://www.w3.org/1999/xlink">
 <xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:string"/>
 <xs:attribute name="role" type="xs:string"/><xs:attribute name="title" type="xs:string"/>
 <xs:attribute name="show" type="xs:string"/><xs:attribute name="actuate" type="xs:string"/>
</xs:schema>"""
_XML = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
 targetNamespace="http://www.w3.org/XML/1998/namespace">
 <xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:NCName"/>
</xs:schema>"""


class _Offline(etree.Resolver):
    def resolve(self, url: str, _public_id: str, context: object) -> object:
        name = url.rpartition("/")[2]
        known = {"xlink.xsd": _XLINK, "xml.xsd": _XML}
        return self.resolve_string(known[name], context) if name in known else None


@cache
def schema() -> etree.XMLSchema:
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Offline())
    path = files("musicxml") / "generate_classes" / "musicxml_4_0.xsd"
    return etree.XMLSchema(etree.parse(str(path), parser))


def problems(text: str) -> list[str]:
    """What the schema finds wrong in a file; nothing where it is valid."""
    document = etree.fromstring(text.encode(), etree.XMLParser(no_network=True, load_dtd=False))
    schema().validate(document)
    return [f"{error.line}: {error.message}" for error in schema().error_log]
