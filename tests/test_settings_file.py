"""Settings files: unknown names get the nearest one, ranges and types are told, the printed file reads back."""

from __future__ import annotations

import dataclasses

import pytest

from wetscout.errors import SettingsError
from wetscout.io.settings_file import describe_settings, parse_settings, read_settings
from wetscout.settings import Settings


def _write(tmp_path, text):
    path = tmp_path / "a settings é.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_an_empty_file_gives_the_defaults(tmp_path):
    assert read_settings(_write(tmp_path, "")) == Settings()


def test_values_are_taken_and_whole_numbers_serve_as_numbers(tmp_path):
    settings = read_settings(_write(tmp_path, "[ingest]\nwater_min_m2 = 900\nspike_m = 2.5\n"))
    assert settings.ingest.water_min_m2 == 900.0
    assert settings.ingest.spike_m == 2.5
    assert settings.linework == Settings().linework


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[ingst]\n", ["no part [ingst]", "Did you mean ingest?"]),
        ("[ingest]\nwater_min_m = 3\n", ["[ingest] has no water_min_m", "Did you mean water_min_m2?"]),
        ("[ranking]\nwater_min_m2 = 3\n", ["belongs under [ingest]"]),
        ("water_min_m2 = 3\n", ["outside of any table", "[ingest]"]),
        ("[ingest]\nspike_m = 1000\n", ["out of range", "[m] from 1 to 100", "spike"]),
        ("[ingest]\nspike_m = nan\n", ["out of range"]),
        ('[ingest]\nspike_m = "10"\n', ["wanted a number", "without quotes"]),
        ("[ingest]\nspike_m = true\n", ["wanted a number"]),
        ("[ingest]\nspike_m = [1]\n", ["wanted a number"]),
        ("ingest = 3\n", ["[ingest]", "line of its own"]),
        ("[ingest\n", ["not valid TOML"]),
    ],
)
def test_what_is_wrong_is_told(tmp_path, text, words):
    path = _write(tmp_path, text)
    with pytest.raises(SettingsError) as caught:
        read_settings(path)
    for word in [str(path), *words]:
        assert word in str(caught.value)


def test_a_missing_file_and_a_binary_one(tmp_path):
    with pytest.raises(SettingsError, match="no settings file"):
        read_settings(tmp_path / "none.toml")
    binary = tmp_path / "b.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SettingsError, match="as text"):
        read_settings(binary)


def test_the_printed_file_reads_back_and_names_every_setting(tmp_path):
    changed = dataclasses.replace(Settings(), ingest=dataclasses.replace(Settings().ingest, spike_m=3.25))
    text = describe_settings(changed)
    assert read_settings(_write(tmp_path, text)) == changed
    for part in dataclasses.fields(Settings()):
        for key in dataclasses.fields(getattr(Settings(), part.name)):
            assert f"\n{key.name} = " in text


def test_every_setting_has_unit_range_meaning_and_source_and_a_default_within_it():
    for part in dataclasses.fields(Settings()):
        values = getattr(Settings(), part.name)
        for key in dataclasses.fields(values):
            assert {"unit", "limits", "about", "source"} <= set(key.metadata), (part.name, key.name)
            if key.metadata["limits"]:
                low, high = key.metadata["limits"]
                assert low <= getattr(values, key.name) <= high, (part.name, key.name)
                for end in (low, high):
                    parse_settings({part.name: {key.name: type(key.default)(end)}})
