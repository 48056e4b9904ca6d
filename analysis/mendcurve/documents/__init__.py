"""Layer 6: notebooks in, one self-contained page with its pictures and tables out."""

from mendcurve.documents.building import Built, build
from mendcurve.documents.cautions import CAUTIONS, cautions
from mendcurve.documents.html import note
from mendcurve.documents.notebooks import names
from mendcurve.documents.opening import chosen, load
from mendcurve.documents.periods import reporting_period
from mendcurve.documents.provenance import provenance
from mendcurve.documents.tables import public_sentence, public_table, table

__all__ = [
    "CAUTIONS",
    "Built",
    "build",
    "cautions",
    "chosen",
    "load",
    "names",
    "note",
    "provenance",
    "public_sentence",
    "public_table",
    "reporting_period",
    "table",
]
