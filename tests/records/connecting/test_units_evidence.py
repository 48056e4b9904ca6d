from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from mendcurve.records.connecting.signs_evidence import currency_of, decimal_sign_of, missing_words
from mendcurve.records.connecting.units_evidence import GRAMS, scale_step, weight_unit
from mendcurve.records.species import reference

SPECIES = reference()


def column(*words):
    return pd.Series(list(words), dtype=object)


def herd(unit, names=("bearded dragon", "corn snake", "leopard gecko"), share=0.33, count=8):
    """Grown animals (a third of the upper bound), written in ``unit``."""
    bounds = SPECIES.set_index("name")["high_g"]
    grams = [(name, bounds[name] * share * (1 + k / 20)) for name in names for k in range(count)]
    return column(*(f"{g / GRAMS[unit]:.4g}" for _, g in grams)), column(*(name for name, _ in grams))


def test_the_heading_says_the_unit():
    weights, species = herd("oz")
    found = weight_unit(weights, species, SPECIES, heading="Weight (oz)")
    assert (found.value, found.doubts) == ("oz", ())
    assert found.reasons[0] == 'The heading "Weight (oz)" says ounces.'


@pytest.mark.parametrize("unit", ["kg", "oz", "lb"])
def test_a_gram_heading_over_other_numbers_is_a_doubt_and_stays_the_decision(unit):
    weights, species = herd(unit)
    found = weight_unit(weights, species, SPECIES, heading="Weight (g)")
    assert found.value == "g"
    assert len(found.doubts) == 1
    assert "Look at one animal you know" in found.doubts[0]


def test_grams_of_grown_animals_leave_one_unit():
    weights, species = herd("g")
    found = weight_unit(weights, species, SPECIES, heading="Weight")
    assert (found.value, found.doubts) == ("g", ())
    assert "100% as grams" in found.reasons[0]


def test_grams_of_hatchlings_could_be_ounces_and_are_a_question():
    weights, species = herd("g", share=0.01)
    found = weight_unit(weights, species, SPECIES)
    assert found.value == ""
    assert "plausible in grams or" in found.doubts[0]
    assert 'unit = "g", "kg", "oz" or "lb"' in found.doubts[0]


def test_kilograms_of_grown_animals_leave_one_unit_only_where_bounds_say_so():
    # 0.35: nothing of these weighs a third of a gram; 0.35 lb and 0.35 kg are both plausible.
    weights, species = herd("kg", names=("bearded dragon", "corn snake"))
    found = weight_unit(weights, species, SPECIES)
    assert found.value == ""
    assert "kilograms" in found.doubts[0]


def test_written_units_decide_for_the_rest_unless_the_bounds_object():
    weights, species = herd("g", share=0.01)
    weights = pd.concat([weights, column("5 g", "6g", "7 grams")], ignore_index=True)
    species = pd.concat([species, column(*["bearded dragon"] * 3)], ignore_index=True)
    found = weight_unit(weights, species, SPECIES)
    assert found.value == "g"
    assert "3 weights are written with their unit: 3 in grams; 24 have none." in found.reasons
    # The exceptions are written with kg, the rest cannot be kg.
    grown, kinds = herd("g")
    grown = pd.concat([grown, column("1 kg", "1.1 kg", "0.9 kg")], ignore_index=True)
    kinds = pd.concat([kinds, column(*["bearded dragon"] * 3)], ignore_index=True)
    assert weight_unit(grown, kinds, SPECIES).value == "g"


def test_odd_weights_do_not_hide_a_unit_that_alone_fits_most():
    weights, species = herd("g")
    odd = pd.concat([weights, column(*["90000"] * 8)], ignore_index=True)
    kinds = pd.concat([species, column(*["leopard gecko"] * 8)], ignore_index=True)
    found = weight_unit(odd, kinds, SPECIES)
    assert found.value == "g"
    assert found.doubts == ("8 of 32 weights are not plausible for their species in grams.",)
    half = pd.concat([odd, column(*["90000"] * 12)], ignore_index=True)
    kinds = pd.concat([kinds, column(*["leopard gecko"] * 12)], ignore_index=True)
    assert weight_unit(half, kinds, SPECIES).value == ""


def test_two_written_units_decide_nothing():
    found = weight_unit(column("5 g", "6g", "7 g", "3 oz", "12"), None, SPECIES)
    assert found.value == ""
    assert "4 weights are written with their unit: 3 in grams, 1 in ounces; 1 have none." in found.reasons


def test_weights_that_all_name_their_unit_ask_nothing():
    found = weight_unit(column("5 g", "1 lb 3 oz", ""), None, SPECIES)
    assert (found.value, found.doubts) == ("", ())


def test_without_species_nothing_is_guessed():
    found = weight_unit(column("350", "412", "388", "401", "290", "300"), None, SPECIES)
    assert found.value == ""
    assert "6 weights name no unit (the middle one is 369)" in found.doubts[0]
    assert "too few are of a known species" in found.doubts[0]
    unknown = weight_unit(column(*["350"] * 6), column(*["griffin"] * 6), SPECIES)
    assert unknown.value == ""


def test_numbers_that_fit_no_unit_are_a_question():
    found = weight_unit(column(*["9000000"] * 6), column(*["leopard gecko"] * 6), SPECIES)
    assert found.value == ""
    assert "no unit fits" in found.doubts[0]


@pytest.mark.slow
def test_bounds_never_decide_for_a_wrong_unit():
    """Mixed herds of any size and age, in any unit: what the bounds decide is right, or nothing is decided."""
    rng = np.random.default_rng(5)
    known = SPECIES.dropna(subset=["low_g", "high_g"])
    print(f"\n{'unit':>5} {'animals':>8} {'right':>7} {'open':>7} {'wrong':>7}")
    for unit in GRAMS:
        for count in (5, 20, 60):
            tally = {"right": 0, "open": 0, "wrong": 0}
            for _ in range(100):
                few = known.sample(int(rng.integers(1, 6)), random_state=int(rng.integers(1 << 30)))
                some = few.sample(count, replace=True, random_state=int(rng.integers(1 << 30)))
                # Young (a fiftieth) to large (the full third) adults; a herd leans to one age.
                age = np.exp(rng.normal(rng.uniform(-2.5, 0), 0.6, count)).clip(0.02, 1.5)
                grams = np.clip(some["high_g"].to_numpy() / 3 * age, some["low_g"], some["high_g"])
                text = column(*(f"{g / GRAMS[unit]:.4g}" for g in grams))
                value = weight_unit(text, some["name"].astype(object).reset_index(drop=True), SPECIES).value
                tally["right" if value == unit else "open" if not value else "wrong"] += 1
            print(f"{unit:>5} {count:>8} " + "  ".join(f"{n:5d}%" for n in tally.values()))
            assert tally["wrong"] == 0


def test_the_step_of_the_scale():
    assert scale_step(column(*(str(5 * k) for k in range(20, 45))), "g").value == 5
    assert scale_step(column(*(f"{k / 10:.1f}" for k in range(201, 230))), "g").value == pytest.approx(0.1)
    assert scale_step(column(*(str(k) for k in range(20, 45))), "oz").value == pytest.approx(GRAMS["oz"])
    assert scale_step(column("5", "10"), "g").value == ""
    off = [str(5 * k) for k in range(20, 45)] + ["101"]
    assert scale_step(column(*off), "g").value == 1


def test_the_sign_of_decimals():
    point = decimal_sign_of({"Weight": column("1.5", "12", "3.25")})
    assert point.value == "."
    assert point.reasons == ('2 numbers have a point for decimals, such as "1.5" in "Weight".',)
    assert decimal_sign_of({"Weight": column("1,5", "0,043")}).value == ","
    both = decimal_sign_of({"Weight": column("1,5"), "Cost": column("3.25")})
    assert both.value == ""
    assert "marked in two ways" in both.doubts[0]
    unclear = decimal_sign_of({"Weight": column("1,250", "12")})
    assert unclear.value == ""
    assert '1 numbers such as "1,250" in "Weight" could mark thousands or decimals' in unclear.doubts[0]
    assert decimal_sign_of({"Weight": column("12", "")}).doubts == ()


def test_the_currency():
    assert currency_of({"Cost": column("£12.50", "£3", "7")}).value == "GBP"
    assert currency_of({"Cost (€)": column("12", "3")}).value == "EUR"
    assert currency_of({"Cost": column("12 EUR", "€3")}).value == "EUR"
    dollars = currency_of({"Cost": column("$12.50")})
    assert dollars.value == ""
    assert "Several currencies" in dollars.doubts[0]
    several = currency_of({"Cost": column("£12.50", "€3")})
    assert several.value == ""
    assert "several currencies" in several.doubts[0]
    assert currency_of({"Cost": column("12")}).reasons == ()


def test_words_for_nothing_are_listed_with_their_counts():
    found = missing_words(
        {
            "Weight": column("12", "n/a", "14", "n/a", "15", "not weighed", "16"),
            "Date out": column("", "-", "2024-03-02", "N/A", "2024-05-06"),
            "Species": column("corn snake", "none", "corn snake", "x", ""),
        }
    )
    assert found.value == ("n/a", "-", "not weighed")
    assert found.reasons[0] == '"n/a" stands for nothing: 2 times in "Weight", once in "Date out".'


def test_a_word_that_means_something_in_one_column_is_not_emptied():
    found = missing_words(
        {"Sex": column("m", "?", "f"), "Weight": column("12", "?", "14", "15")}, {"Sex": frozenset("?mf")}
    )
    assert found.value == ()
    assert '"?" means something in "Sex" (once), so it is not emptied.' in found.doubts[0]
    assert 'Elsewhere it may stand for nothing: once in "Weight"' in found.doubts[0]


def test_other_words_among_numbers_are_a_question_and_hold_no_persons_details():
    found = missing_words({"Weight": column("12", "14", "15", "16", "17", "escaped", "see a.b@c.org")})
    assert found.value == ()
    assert found.doubts[0] == '"escaped" stands once among numbers or dates in "Weight".'
    assert "a.b@c.org" not in found.doubts[1]
