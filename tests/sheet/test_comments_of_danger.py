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
        ("me duele el pecho", "chest-pain"),
        ("presión en el pecho", "chest-pain"),
        ("suffered chest pains last night", "chest-pain"),
        ("no puedo respirar", "breathless-at-rest"),
        ("pee is brown", "dark-urine"),
        ("Urin ganz dunkel", "dark-urine"),
        ("knocked out in training", "head-injury"),
        ("kollabiert", "fainting"),
        ("bin umgekippt", "fainting"),
        ("sin fiebre pero me desmayé", "fainting"),
        ("not ill, no fever though chest tight", "chest-pain"),
        ("kein Fieber, jedoch Brustenge", "chest-pain"),
        ("weakness in right arm", "numbness-or-weakness"),
        ("arm feels weak and numb", "numbness-or-weakness"),
    ],
)
def test_a_sign_in_words_is_taken_as_it(text: str, sign: str) -> None:
    assert sign in dangers_in(text).warning_signs


@pytest.mark.parametrize("text", ["threw up twice", "puked", "vómitos anoche"])
def test_vomiting_in_words_is_an_illness(text: str) -> None:
    assert dangers_in(text).illness == "below-neck"


@pytest.mark.parametrize(
    ("text", "illness"),
    [
        ("enfermo con tos", "below-neck"),
        ("Schüttelfrost", "fever"),
        ("temp:39", "fever"),
        ("39.2 °C", "fever"),
        ("tired, 38,0°C this morning", "fever"),
        ("temperature of 38.5", "fever"),
        ("Temperatur 38,4", "fever"),
        ("temp 38.9 last night", "fever"),
    ],
)
def test_an_illness_in_words_is_taken_as_it(text: str, illness: str) -> None:
    assert dangers_in(text) == Dangers(illness=illness)


@pytest.mark.parametrize(
    "text",
    [
        "temp 37.9",
        "temp 101",
        "temp from 39 to 37",
        "temp 39 outside",
        "no temp of 38.5",
        "temp at 7:38",
    ],
)
def test_a_temperature_that_is_low_or_unclear_is_left_to_a_person(text: str) -> None:
    assert dangers_in(text) == Dangers(is_turned=True)


@pytest.mark.parametrize(
    "text",
    [
        "ran in 39 °C",
        "squats 4 x 38.5",
        "boat capsized, Boot umgekippt",
        "knocked out 5 sets",
        "knocked out of the cup",
        "legs weak after session",
        "working on my weakness: starts",
    ],
)
def test_words_that_sound_like_a_danger_are_none(text: str) -> None:
    assert dangers_in(text) == Dangers()


@pytest.mark.parametrize(
    "text", ["no me duele el pecho", "pee is not brown", "no chest pains though", "sin tos"]
)
def test_no_new_word_hides_a_denial(text: str) -> None:
    assert dangers_in(text) == Dangers(is_turned=True)


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
