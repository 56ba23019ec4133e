"""Dangers that athletes tell in words of their own."""

import pytest

from dawnrule.sheet.dangers import Dangers, dangers_in


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("bumped my head in the match; bit dizzy", "head-injury"),
        ("got a knock on the head", "head-injury"),
        ("head clash", "head-injury"),
        ("vision blurry after header", "head-injury"),
        ("Kopf angestoßen, Schwindel", "head-injury"),
        ("me golpeé la cabeza", "head-injury"),
        ("peeing brown since the marathon", "dark-urine"),
        ("pee like coke", "dark-urine"),
        ("can't feel my left hand", "numbness-or-weakness"),
        ("pins and needles", "numbness-or-weakness"),
        ("sin fuerza en la mano", "numbness-or-weakness"),
        ("felt faint", "fainting"),
        ("dizzy when standing up", "fainting"),
        ("heart skipping beats", "palpitations"),
        ("couldn't catch my breath lying down", "breathless-at-rest"),
        ("knee is massively swollen", "severe-swelling"),
        ("dolor en el pecho", "chest-pain"),
    ],
)
def test_a_sign_in_words_is_taken_as_it(text: str, sign: str) -> None:
    assert sign in dangers_in(text).warning_signs


@pytest.mark.parametrize("text", ["threw up twice", "puked", "vómitos anoche"])
def test_vomiting_in_words_is_an_illness(text: str) -> None:
    assert dangers_in(text).illness == "below-neck"


def test_a_temperature_is_left_to_a_person() -> None:
    assert dangers_in("temp 38.9 last night").is_turned


@pytest.mark.parametrize(
    "text", ["no pain", "keine Schmerzen", "sin dolor", "sin fiebre", "sin dolor en el pecho"]
)
def test_what_is_denied_is_left_to_a_person(text: str) -> None:
    assert dangers_in(text) == Dangers(is_turned=True)


@pytest.mark.parametrize("text", ["sin aliento al subir", "sin fuerza en la mano"])
def test_a_danger_that_lacks_something_is_not_denied(text: str) -> None:
    told = dangers_in(text)
    assert told.warning_signs
    assert not told.is_turned


def test_a_danger_without_breath_that_is_denied_is_left_to_a_person() -> None:
    assert dangers_in("no me quedé sin aliento") == Dangers(is_turned=True)
