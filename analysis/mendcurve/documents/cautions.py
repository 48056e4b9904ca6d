"""What every document and the README must say, whatever its numbers say."""

from __future__ import annotations

from mendcurve.documents.html import Html, paragraphs

CAUTIONS: tuple[str, ...] = (
    "This is not veterinary advice. The figures describe the records of one rescue. What an animal has, which "
    "medicine it gets, how much of it, and whether it is put to sleep are decisions of a licensed veterinarian who "
    "has examined that animal.",
    "Breathing with an open mouth, a prolapse, tremor, collapse, bleeding, a burn with blisters, or weight falling "
    "fast: the animal needs a vet now, whatever a chart says.",
    "Reptiles and amphibians can carry Salmonella without looking ill. Wash your hands after touching them, their "
    "housing or their water, and keep all of it away from kitchens. Children under five, pregnant people, older "
    "people and people with weakened immunity should not handle them.",
    "Protected, invasive and venomous species, medicines, and the keeping of animal records are governed by local "
    "law. This document does not say what the law is: ask the local authority.",
    "Forecasts rest on the past of one rescue. Leave room for what has not happened before.",
    "Animals were not assigned to conditions, treatments or zones by chance. A difference between groups is not "
    "proof of a cause.",
)


def cautions() -> Html:
    """Return the cautions as paragraphs."""
    return Html(paragraphs(CAUTIONS, kind="caution"))
