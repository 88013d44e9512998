"""What does a layer of a feature service say of itself: its fields, its pages, its publisher?

A field's kind, alias and coded values are read; what the layer says is untrusted.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from capture.basis import DataError, InputError, plain_text
from capture.passing.client import Client, check_url, host_of
from capture.passing.guess import SURE
from capture.passing.roles import ROLES, name_score, split_words

if TYPE_CHECKING:
    import pandas as pd

GEOMETRIES: Final = {"esriGeometryPoint": "Point", "esriGeometryPolyline": "LineString",
                     "esriGeometryMultipoint": "MultiPoint"}  # fmt: skip
#: most fields that a layer may have
MOST_FIELDS: Final = 400
#: kind of a field -> what people call it
FIELD_WORDS: Final = {
    "esriFieldTypeOID": "row number", "esriFieldTypeString": "text",
    "esriFieldTypeInteger": "whole number", "esriFieldTypeSmallInteger": "whole number",
    "esriFieldTypeBigInteger": "whole number", "esriFieldTypeDouble": "number",
    "esriFieldTypeSingle": "number", "esriFieldTypeDate": "day", "esriFieldTypeDateOnly": "day",
    "esriFieldTypeGlobalID": "row number", "esriFieldTypeGUID": "row number",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceLayer:
    """What a layer says of itself."""

    #: address of the layer, without a query
    url: str
    #: its name
    name: str
    #: field name -> (alias, type, code -> word)
    fields: Mapping[str, tuple[str, str, Mapping[Any, str]]]
    #: field of the row number
    id_field: str
    #: most rows in one answer
    page: int
    #: whether pages can be asked for by offset
    pages: bool
    #: whether it can answer in GeoJSON
    geojson: bool
    #: whom the publisher asks to be named, in its own words
    credit: str = ""

    def tell_fields(self) -> pd.DataFrame:
        """Return ``field, alias, kind, perhaps``, one row a field; the last a guess by its name.

        Examples
        --------
        >>> fields = {"FLD_7": ("AADT", "esriFieldTypeInteger", {})}
        >>> layer = ServiceLayer(url="", name="", fields=fields, id_field="", page=1, pages=True,
        ...                      geojson=True)
        >>> layer.tell_fields().iloc[0].tolist()
        ['FLD_7', 'AADT', 'whole number', 'aadt']
        """
        import pandas as pd

        rows = [
            {
                "field": name,
                "alias": alias,
                "kind": "codes written out" if codes else FIELD_WORDS.get(kind, "other"),
                "perhaps": _guess_role(name, alias),
            }
            for name, (alias, kind, codes) in self.fields.items()
        ]
        return pd.DataFrame(rows, columns=["field", "alias", "kind", "perhaps"])


def _guess_role(name: str, alias: str) -> str:
    """Name the role that a field's name or alias points to most, "" for none."""
    scores = {
        role.name: max(name_score(role, split_words(word)) for word in (name, alias))
        for role in ROLES
    }
    best = max(scores, key=lambda role: scores[role])
    return best if scores[best] >= SURE else ""


def describe_layer(url: str, *, client: Client | None = None) -> ServiceLayer:
    """Ask a layer what it holds.

    Parameters
    ----------
    url : str
        Of a layer (it ends in a number) or of a service with a single layer.
    client : Client, optional
        Asks the network; the usual one when left out.

    Raises
    ------
    InputError
        When the address is not one, or names a service of several layers (listed).
    DataError
        When it does not answer or holds neither points nor lines.
    """
    client = client or Client()
    address = check_url(url)
    held = client.ask(address, {"f": "json"})
    layers = held.get("layers")
    if isinstance(layers, list) and "fields" not in held:
        listed = [one for one in layers if isinstance(one, dict) and isinstance(one.get("id"), int)]
        if len(listed) != 1:
            names = "; ".join(
                f"{address}/{one['id']} ({plain_text(one.get('name', ''), most=40)})"
                for one in listed[:12]
            )
            raise InputError(
                f"{host_of(address)}: the address names a service of {len(listed)} layers, "
                f"pick one: {names}"
            )
        address = f"{address}/{int(listed[0]['id'])}"
        held = client.ask(address, {"f": "json"})
    return _read_description(address, held)


def _read_description(address: str, held: Mapping[str, Any]) -> ServiceLayer:
    shape = held.get("geometryType")
    if not isinstance(shape, str) or shape not in GEOMETRIES:
        raise DataError(
            f"{host_of(address)}: the layer holds {plain_text(shape or 'no geometry', most=40)}, "
            "must be points or lines; pick another layer"
        )
    fields: dict[str, tuple[str, str, Mapping[Any, str]]] = {}
    id_field = plain_text(held.get("objectIdField", ""), most=80)
    listed = as_list(held.get("fields"))
    if len(listed) > MOST_FIELDS:
        raise DataError(
            f"{host_of(address)}: the layer must have up to {MOST_FIELDS} fields, got "
            f"{len(listed)}; pick another layer"
        )
    for one in listed:
        if not isinstance(one, dict) or "name" not in one:
            continue
        name, kind = _printable(one["name"]), _printable(one.get("type", ""))
        fields[name] = (_printable(one.get("alias", name)), kind, _codes(one.get("domain")))
        if kind == "esriFieldTypeOID" and not id_field:
            id_field = name
    can = held.get("advancedQueryCapabilities")
    paging = bool(can.get("supportsPagination")) if isinstance(can, dict) else False
    page = held.get("maxRecordCount", 1000)
    return ServiceLayer(
        url=address,
        name=plain_text(held.get("name", ""), most=80),
        fields=fields,
        id_field=id_field or "OBJECTID",
        page=min(page, 10_000) if isinstance(page, int) and page > 0 else 1000,
        pages=paging,
        geojson="geojson" in str(held.get("supportedQueryFormats", "")).lower(),
        credit=plain_text(held.get("copyrightText") or "", most=300),
    )


def _printable(held: Any) -> str:
    """Return a word of the service; a sign that cannot be written down is asked for by no name."""
    return plain_text(held, most=120)


def as_list(held: Any) -> list[Any]:
    """Return a list, empty for anything else."""
    return held if isinstance(held, list) else []


def _codes(domain: Any) -> dict[Any, str]:
    if not isinstance(domain, dict) or not isinstance(domain.get("codedValues"), list):
        return {}
    return {
        one["code"]: plain_text(one.get("name", ""), most=80)
        for one in domain["codedValues"]
        if isinstance(one, dict) and isinstance(one.get("code"), str | int | float)
    }
