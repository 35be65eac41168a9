"""Tables that guessing does not read: columns told by name, times of day with their date, months in other languages."""

import datetime as dt

import numpy as np
import pytest

from matdb.errors import InputError
from matdb.weather.hourly import hourly_csv, monthly_csv

PORCH = "Uhr;draussen;drinnen\n22:00;-3,5;20\n23:00;-4,1;20\n00:00;-5,0;20\n01:30;-5,2;20\n"
TOLD = {"temperature_column": "Draussen", "time_column": "Uhr", "unit": "C"}


def test_columns_are_told_by_name_and_hours_by_their_date():
    found = hourly_csv(PORCH, **TOLD, date=dt.date(2026, 11, 26))
    assert found.temperature_c.tolist() == [-3.5, -4.1, -5.0, -5.2]
    # Over midnight into the next day.
    assert found.times.tolist() == [0.0, 1.0, 2.0, 3.5]
    assert found.start == dt.datetime(2026, 11, 26, 22)


@pytest.mark.parametrize(
    ("missing", "cure"),
    [
        ("temperature_column", "--temp-column"),
        ("time_column", "--time-column"),
        ("unit", "--unit C"),
        ("date", "--date 20"),
    ],
)
def test_each_refusal_names_an_option_that_there_is(missing, cure):
    told = {name: value for name, value in (TOLD | {"date": dt.date(2026, 11, 26)}).items() if name != missing}
    with pytest.raises(InputError, match=cure):
        hourly_csv(PORCH, **told)


def test_a_column_that_is_not_there_is_told_with_those_that_are():
    with pytest.raises(InputError, match="Uhr, draussen, drinnen"):
        hourly_csv(PORCH, **TOLD | {"time_column": "Zeit"}, date=dt.date(2026, 11, 26))


#: Month, low, high; and the first, fifth, seventh, eighth and twelfth month, as their calendars write them.
LANGUAGES = {
    "German": ("Monat;Tiefstwert (C);Höchstwert (C)", "Januar Mai Juli August Dezember"),
    "German, Austria": ("Monat;Tief [C];Hoch [C]", "Jänner Mai Juli August Dezember"),
    "French": ("Mois;Min (C);Max (C)", "janvier mai juillet août décembre"),
    "Spanish": ("Mes;Baja (C);Alta (C)", "enero mayo julio agosto diciembre"),
    "Portuguese": ("Mês;Mínima (C);Máxima (C)", "janeiro maio julho agosto dezembro"),
    "Italian": ("Mese;Minima (C);Massima (C)", "gennaio maggio luglio agosto dicembre"),
    "Dutch": ("Maand;Laagste (C);Hoogste (C)", "januari mei juli augustus december"),
    "Danish": ("Måned;Lavest (C);Højest (C)", "januar maj juli august december"),
    "English": ("Month;Low (C);High (C)", "Jan May Jul Aug Dec"),
}


@pytest.mark.parametrize("language", LANGUAGES)
def test_months_in_other_languages(language):
    header, months = LANGUAGES[language]
    rows = [f"{month};{low},5;{low + 9}" for month, low in zip(months.split(), (-6, 5, 12, 11, -4), strict=True)]
    found = monthly_csv("\n".join([header, *rows]))
    assert np.unique(found.times // 730.5).tolist() == [0, 4, 6, 7, 11]
    assert (found.low_c, found.high_c) == (-6.5, 21.0)


def test_june_and_july_are_told_apart():
    table = "mois;min (C);max (C)\njuin;10;20\njuillet;12;24\n"
    assert np.unique(monthly_csv(table).times // 730.5).tolist() == [5, 6]
