"""What remarks say and what they deny: a crew writes 'no seep' as readily as 'seep'."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from culvertrisk.stages.freeze_inputs import freeze_inputs, said_chances
from culvertrisk.stages.remarks import read_remarks
from culvertrisk.tables import sources, table
from tests.test_stages_freeze import COEFFICIENTS, _crossings

WORDS = table("freeze_words")[["word", "what"]].itertuples(index=False, name=None)
WORD = st.sampled_from([*WORDS])
BEFORE, AFTER = (
    table("denial_words").query("place == @place")["word"].tolist()
    for place in ("before", "after")
)
FILLER = st.sampled_from(["", "more", "visible", "real", "longer"])
BLANK = [np.nan] * 3


def _said(*texts):
    """By what is spoken of: said and denied of each text, as pairs of booleans."""
    return {
        what: [*zip(said.astype(bool), denied.astype(bool), strict=True)]
        for what, (said, denied) in read_remarks(texts).items()
    }


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("no seep", "seep"),
        ("dry, no icing seen", "seep"),
        ("seep stopped, drained 2021", "seep"),
        ("seep, drained 2021", "seep"),
        ("never holds water", "pond"),
        ("no sag", "pond"),
        ("isn't a sag", "pond"),
        ("no sag or belly", "pond"),
        ("without snow plug", "plug"),
        ("backwater gone", "tail"),
    ],
)
def test_what_is_denied_is_no_yes(text, what):
    assert _said(text)[what] == [(False, True)]
    chance = said_chances(_crossings(note=[text, "", ""]), COEFFICIENTS)
    assert chance[what].tolist() == [0, 0, 0]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("seep not drained", "seep"),
        ("seep never stopped", "seep"),
        ("no. 12: seep", "seep"),
        ("no 12 seep", "seep"),
        ("no ditch, holds water", "pond"),
        ("no cover and holds water", "pond"),
        ("holds water, outlet ditch fixed", "pond"),
        ("2024: no seep; 2025: icing", "seep"),
    ],
)
def test_what_is_denied_elsewhere_is_still_a_yes(text, what):
    assert _said(text)[what] == [(True, False)]


@given(word=WORD, no=st.sampled_from(BEFORE), filler=FILLER, upper=st.booleans())
def test_any_denial_before_any_word_denies_it(word, no, filler, upper):
    spelling, what = word
    text = f"checked; {no} {filler} {spelling}"
    assert _said(text.upper() if upper else text)[what] == [(False, True)]


@given(word=WORD, end=st.sampled_from(AFTER), filler=FILLER, stop=st.sampled_from(" ,"))
def test_any_ending_after_any_word_ends_it(word, end, filler, stop):
    spelling, what = word
    text = f"{spelling} {filler if stop == ' ' else ''}{stop} {end} 2021"
    assert _said(text)[what] == [(False, True)]


@given(word=WORD, no=st.sampled_from(BEFORE), stop=st.sampled_from([",", ";", ". "]))
def test_a_denial_reaches_no_further_than_its_clause(word, no, stop):
    spelling, what = word
    assert _said(f"{no} light{stop} {spelling}")[what] == [(True, False)]
    assert _said(f"{no} {spelling}{stop} {spelling}")[what] == [(True, False)]


def test_a_denial_lowers_the_usual_chance_by_how_sure_remarks_are():
    notes = ["no seep, no sag, no plow plug, no backwater", "", ""]
    base = {"has_seep": BLANK, "has_plough_plug": BLANK}
    denied = freeze_inputs(_crossings(**base, note=notes), None, COEFFICIENTS)
    usual = freeze_inputs(_crossings(**base), None, COEFFICIENTS)
    wrong = 1 - COEFFICIENTS["word_chance"].item()
    for name in ("seep_chance", "plug_chance", "tail_chance"):
        mine, without = getattr(denied, name), getattr(usual, name)
        assert mine[0] == pytest.approx(wrong * without[0]), name
        assert mine[1] == without[1], name
    assert denied.pond_chance[0] == 0
    assert denied.drained_chance == pytest.approx([1 - wrong, 0, 0])


def test_a_field_outweighs_every_remark():
    said = freeze_inputs(
        _crossings(has_seep=[1.0] * 3, note=["no seep"] * 3), None, COEFFICIENTS
    )
    assert said.seep_chance.tolist() == [1, 1, 1]


def test_denial_words_name_their_sources():
    rows = table("denial_words")
    assert set(rows["source"]) <= set(sources().index)
    assert set(rows["place"]) == {"before", "after"}
